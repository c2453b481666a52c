-- grain: one test of one life, up to the test that found its defect: what it measured
-- An after-repair test is a reading of the life that the repair began.
create table marts.wear_readings as
with found as (
    select spans.life_id, defects.outcome_id, defects.found_by, tests.tested_at as found_at
    from marts.sensor_spans as spans
    join marts.defects as defects
        on defects.sensor_id = spans.sensor_id
        and (spans.begun_by is null or defects.closed_on > spans.from_on)
        and (spans.next_from_on is null or defects.closed_on <= spans.next_from_on)
    left join marts.tests as tests on tests.session_id = defects.found_by
    qualify row_number() over (
        partition by spans.life_id order by defects.closed_on, defects.outcome_id
    ) = 1
)

select
    tests.life_id, tests.session_id,
    tests.sensor_age_km as read_km,
    if(tests.conclusion = 'cannot_tell', null, measures.roughness_pct) as roughness_pct,
    if(tests.conclusion = 'cannot_tell', null, measures.roughness_z) as roughness_z,
    coalesce(outcomes.checks_out_of_band, 0) as checks_out_of_band,
    tests.defect_found = 'without' and tests.session_id is distinct from found.found_by as passed,
    coalesce(tests.reason = 'symptom', false) as prompted
from marts.life_tests as tests
semi join marts.life_windows as windows using (life_id)
left join found using (life_id)
left join marts.sweep_measures as measures using (session_id)
left join marts.check_outcomes as outcomes using (session_id)
where found.outcome_id is null
    or tests.tested_at <= found.found_at
    -- found by the repair itself: no test after it
    or (found.found_at is null and exists (
        select 1 from marts.repairs_after_tests as after
        where after.session_id = tests.session_id and after.outcome_id = found.outcome_id
    ))
order by tests.life_id, tests.tested_at, tests.session_id
