-- grain: one bike in service without a sensor in service on record
select 'Bike ' || label || ' is in service, but no sensor on it is on record: it is not on this list.' as notice
from marts.bikes
where not out_of_service
    and unit_id not in (select unit_id from marts.sensors_now)
    and unit_id not in (select unit_id from marts.waiting where stands_aside)
order by unit_id
