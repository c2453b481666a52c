-- grain: one sensor id ever handed in, accepted or not, and the bike it names
create view intake.any_sensors as
select row_key as sensor_id, arg_max(cells['unit_id'], row_id) as unit_id
from intake.rows
where table_name = 'sensors' and row_key is not null
group by row_key
