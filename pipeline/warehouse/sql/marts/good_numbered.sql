-- grain: one test of a sound sensor, and the sensor's place among these by part and name
create or replace temp table good_numbered as
select
    session_id, tests.part_no, tests.sensor_id, tests.sweep_channel,
    dense_rank() over (order by tests.part_no, tests.sensor_id)::integer - 1 as sensor_no
from marts.good_tests as good
join marts.tests as tests using (session_id)
