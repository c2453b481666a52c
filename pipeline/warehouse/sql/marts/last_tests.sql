-- grain: one sensor in service: its last test in its present life
create table marts.last_tests as
with latest as (
    select tests.session_id
    from marts.life_tests as tests
    join marts.sensor_lives as lives using (sensor_id)
    join marts.sensor_spans as spans on spans.life_id = tests.life_id and spans.ended_by is null
    where lives.in_service
    qualify row_number() over (
        partition by tests.sensor_id order by tests.tested_at desc, tests.session_id desc
    ) = 1
)

select tests.*
from marts.life_tests as tests
semi join latest using (session_id)
