-- grain: one sensor in service: its last test in its present life
create table marts.last_tests as
select tests.*
from marts.tests as tests
join marts.sensor_lives as lives using (sensor_id)
join marts.sensor_spans as spans on spans.sensor_id = tests.sensor_id and spans.next_from_on is null
where lives.in_service and (not spans.repaired or tests.odometer_km >= spans.from_odometer_km)
qualify row_number() over (
    partition by tests.sensor_id order by tests.tested_at desc, tests.session_id desc
) = 1
