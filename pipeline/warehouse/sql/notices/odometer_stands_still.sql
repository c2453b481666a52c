-- grain: one bike that was tested again after months with the same odometer
select 'Bike ' || unit_id || ': the odometer stood at ' || printf('%.0f', odometer_km) || ' km from '
    || min(read_on) || ' to ' || max(read_on) || '.' as notice
from marts.readings
group by unit_id, odometer_km
having max(read_on) - min(read_on) >= 180
order by unit_id
