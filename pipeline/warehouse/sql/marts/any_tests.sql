-- grain: one test id ever handed in, accepted or not, and the sensor it names
create view intake.any_tests as
select row_key as session_id, arg_max(cells['sensor_id'], row_id) as sensor_id
from intake.rows
where table_name = 'test_sessions' and row_key is not null
group by row_key
