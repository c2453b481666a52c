-- grain: one sweep in volts of one sound sensor, and the sensor's place among those by part and name
create or replace temp table good_sweeps as
select
    session_id, tests.part_no, tests.sensor_id,
    dense_rank() over (order by tests.part_no, tests.sensor_id)::integer - 1 as sensor_no
from marts.good_tests as good
join marts.tests as tests using (session_id)
join marts.sweep_measures as measures using (session_id)
where tests.sweep_channel = 'volt' and measures.conclusion in ('nothing_seen', 'rough')
