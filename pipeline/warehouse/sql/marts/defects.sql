-- grain: one confirmed defect of one sensor, between the last test without it and the first with it
create table marts.defects as
with confirmed as (
    -- a replacement resting on the failed verdict alone is no confirmation
    select
        *,
        lag(outcome_id) over (partition by sensor_id order by closed_on, outcome_id) as earlier_id
    from staging.repair_outcomes
    where fault_confirmed = 'yes'
        and action in ('sensor_replaced', 'sensor_cleaned')
        and coalesce(confirmed_by, '') <> 'verdict_only'
),

-- the tests of the life that this repair ended; the test that led here found the defect
tests as (
    select
        confirmed.outcome_id, tests.session_id, tests.tested_at, tests.tested_on,
        tests.odometer_km, coalesce(tests.reason = 'after_repair', false) as after_repair,
        if(tests.session_id = confirmed.session_id, 'with', tests.defect_found) as defect_found,
        tests.session_id = confirmed.session_id as led_here
    from confirmed
    join marts.repairs_after_tests as after using (outcome_id)
    join marts.tests as tests on tests.session_id = after.session_id
    where not exists (
        select 1 from marts.repairs_after_tests as before
        where before.session_id = tests.session_id and before.outcome_id = confirmed.earlier_id
    )
),

-- when it was found: by the test that led here, else by the last test with it, else at the repair
found as (
    select
        confirmed.outcome_id,
        coalesce(
            max(tests.tested_at) filter (tests.led_here),
            max(tests.tested_at) filter (tests.defect_found = 'with' and not tests.after_repair),
            confirmed.closed_on::timestamptz
        ) as found_at
    from confirmed
    left join tests using (outcome_id)
    group by confirmed.outcome_id, confirmed.closed_on
),

last_without as (
    select tests.outcome_id, max(tests.tested_at) as tested_at, max(tests.odometer_km) as odometer_km
    from tests
    join found using (outcome_id)
    where tests.defect_found = 'without' and tests.tested_at < found.found_at
    group by tests.outcome_id
),

first_with as (
    select tests.outcome_id, min(tests.odometer_km) as odometer_km,
        arg_min(tests.session_id, (tests.tested_at, tests.session_id)) as session_id
    from tests
    left join last_without using (outcome_id)
    where tests.defect_found = 'with' and not tests.after_repair
        and (last_without.tested_at is null or tests.tested_at > last_without.tested_at)
    group by tests.outcome_id
)

select
    confirmed.outcome_id, confirmed.sensor_id, confirmed.closed_on, confirmed.action,
    last_without.odometer_km as good_odometer_km,
    -- the rider noticed it at failed_km, where that is known; else a test or the repair found it
    least(first_with.odometer_km, confirmed.failed_km, confirmed.odometer_km) as bad_odometer_km,
    confirmed.failed_km as failed_odometer_km,
    confirmed.odometer_km as closed_km,
    first_with.session_id as found_by,
    coalesce(confirmed.on_road = 'yes', false) as road_failure
from confirmed
left join last_without using (outcome_id)
left join first_with using (outcome_id)
