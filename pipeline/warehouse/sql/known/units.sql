-- grain: one bike known by the day, as it then stood
create table staging.units as
select units.* replace (
    if(units.out_of_service_on > $as_of, null, units.out_of_service_on) as out_of_service_on
)
from built_staging.units as units
join staging.bikes_known using (unit_id)
where known_on <= $as_of
