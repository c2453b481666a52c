-- grain: one key of a contract table among those asked for that any row ever handed in has
select distinct table_name, row_key
from whole.intake.rows
where row_key in (select unnest($keys::varchar[]))
union
select 'fleets', fleet_id
from whole.marts.bike_shops
where fleet_id in (select unnest($keys::varchar[]))
