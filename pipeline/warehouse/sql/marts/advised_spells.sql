-- grain: one sensor and one run of days over which the same was advised, with what came of it
create table marts.advised_spells as
with spells as (from advised_runs),

work as (
    select
        spells.sensor_id, spells.first_on,
        min(repairs.closed_on) as taken_off_on,
        arg_min(repairs.fault_confirmed, (repairs.closed_on, repairs.outcome_id)) as fault_confirmed,
        arg_min(repairs.confirmed_by, (repairs.closed_on, repairs.outcome_id)) as confirmed_by
    from spells
    join staging.repair_outcomes as repairs
        on repairs.sensor_id = spells.sensor_id
        and repairs.action in ('sensor_replaced', 'sensor_cleaned')
        and repairs.closed_on > spells.first_on
        and repairs.closed_on <= spells.first_on + interval 180 day
    group by spells.sensor_id, spells.first_on
),

tested as (
    select spells.sensor_id, spells.first_on, min(tests.tested_at)::date as tested_on
    from spells
    join marts.tests as tests
        on tests.sensor_id = spells.sensor_id
        and tests.reason is distinct from 'after_repair'
        and tests.tested_at::date > spells.first_on
        and tests.tested_at::date <= spells.first_on + interval 180 day
    group by spells.sensor_id, spells.first_on
),

spans as (
    select
        sensor_id, action, first_on,
        lead(first_on) over (partition by sensor_id order by first_on) as next_on
    from spells
),

-- what the shop said to it last while it was the advice
answered as (
    select
        spans.sensor_id, spans.first_on,
        arg_max(answers.answer, (answers.answered_at, answers.row_id)) as answer
    from spans
    join staging.advice_answers as answers
        on answers.sensor_id = spans.sensor_id
        and answers.advised_action = spans.action
        and answers.answered_on >= spans.first_on
        and (spans.next_on is null or answers.answered_on < spans.next_on)
    group by spans.sensor_id, spans.first_on
),

-- a failure counts against what was advised last before it
failed as (
    select repairs.sensor_id, max(spells.first_on) as first_on, repairs.outcome_id
    from marts.repairs as repairs
    join spells
        on spells.sensor_id = repairs.sensor_id
        and spells.first_on < coalesce(repairs.failed_on, repairs.closed_on)
    where repairs.event = 'road_failure'
    group by repairs.sensor_id, repairs.outcome_id
)

select
    spells.*, answered.answer, work.taken_off_on, work.fault_confirmed, work.confirmed_by, tested.tested_on,
    (
        select count(*) from failed
        where failed.sensor_id = spells.sensor_id and failed.first_on = spells.first_on
    ) as road_failures
from spells
left join work using (sensor_id, first_on)
left join tested using (sensor_id, first_on)
left join answered using (sensor_id, first_on)
