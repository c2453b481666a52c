-- grain: the test asked for, of a sensor with a track: its life, and whether that goes on
select tests.life_id, lives.in_service and spans.ended_by is null as goes_on
from marts.life_tests as tests
join marts.sensor_spans as spans using (life_id)
join marts.sensor_lives as lives on lives.sensor_id = tests.sensor_id
where tests.session_id = $session_id
    and coalesce(tests.kind, 'potentiometer') = 'potentiometer'
