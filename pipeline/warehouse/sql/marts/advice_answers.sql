-- grain: one answer to the advice on one sensor, and what ended it; ended_by is blank while it stands
-- It is weighed against the advice of this build alone: an answer to advice that grew worse stands
-- again once the advice is what it was.
create table marts.advice_answers as
with ordered as (
    select
        answers.*,
        lead(answered_on) over (
            partition by sensor_id order by answered_at, row_id
        ) as next_on
    from staging.advice_answers as answers
),

urgency(action, place) as (
    values ('leave', 1), ('not_enough_known', 2), ('test', 3), ('replace', 4)
),

ends as (
    select row_id, 'later_answer' as ended_by, next_on as ended_on
    from ordered
    where next_on is not null
    union all
    select row_id, 'date_passed', until
    from ordered
    where until <= $as_of
    union all
    select answers.row_id, 'test', min(tests.tested_on)
    from ordered as answers
    join marts.tests as tests using (sensor_id)
    where tests.tested_at > answers.answered_at
    group by answers.row_id
    union all
    -- of a repair only the day is known: on the day of the answer, the one handed in later is later
    select answers.row_id, 'repair', min(repairs.closed_on)
    from ordered as answers
    join staging.repair_outcomes as repairs using (sensor_id)
    where repairs.closed_on > answers.answered_on
        or (repairs.closed_on = answers.answered_on and repairs.row_id > answers.row_id)
    group by answers.row_id
    union all
    select answers.row_id, 'worse_advice', $as_of
    from ordered as answers
    join marts.advice as advice using (sensor_id)
    join urgency as answered on answered.action = answers.advised_action
    join urgency as now on now.action = advice.action
    where answers.next_on is null and now.place > answered.place
    union all
    select answers.row_id, 'out_of_service', coalesce(lives.to_on, $as_of)
    from ordered as answers
    join marts.sensor_lives as lives using (sensor_id)
    where answers.next_on is null and not lives.in_service
)

select
    ordered.row_id, ordered.sensor_id, ordered.answered_at, ordered.answered_on, ordered.answer,
    ordered.advised_action, ordered.until, ordered.reason, ordered.answered_by,
    arg_min(ends.ended_by, (ends.ended_on, ends.ended_by)) as ended_by, min(ends.ended_on) as ended_on
from ordered
left join ends using (row_id)
group by all
