-- grain: one test of one life of a part with a track, save tests after a repair
create table marts.test_history as
select
    tests.life_id, tests.session_id, tests.sensor_age_km as test_km,
    case
        when tests.defect_found = 'with' or exists (
            select 1 from marts.defects where defects.found_by = tests.session_id
        ) then true
        when tests.defect_found = 'without' then false
    end as found,
    coalesce(tests.reason = 'symptom', false) as prompted
from marts.life_tests as tests
semi join marts.life_windows as windows using (life_id)
where coalesce(tests.reason, '') <> 'after_repair' and tests.sensor_age_km is not null
