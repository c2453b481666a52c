-- grain: one test and the life of its sensor that it belongs to
-- A test belongs to the life begun by the last cleaning that did not come after it.
create table marts.test_lives as
select spans.life_id, tests.session_id
from marts.tests as tests
join marts.sensor_spans as spans using (sensor_id)
where not exists (
        select 1 from marts.repairs_after_tests as after
        where after.session_id = tests.session_id and after.outcome_id = spans.begun_by
    )
    and (
        spans.ended_by is null
        or exists (
            select 1 from marts.repairs_after_tests as after
            where after.session_id = tests.session_id and after.outcome_id = spans.ended_by
        )
    )
