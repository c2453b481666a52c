-- grain: one sweep in volts of one sound sensor, and the sensor's place among those by part and name
create or replace temp table good_sweeps as
select
    session_id, good.part_no, good.sensor_id,
    dense_rank() over (order by good.part_no, good.sensor_id)::integer - 1 as sensor_no
from good_numbered as good
join marts.sweep_measures as measures using (session_id)
where good.sweep_channel = 'volt' and measures.conclusion in ('nothing_seen', 'rough')
