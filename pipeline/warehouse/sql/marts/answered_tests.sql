-- grain: one test that a repair came after: the first repair that answers it, and the last work since
-- A repair answers a test by the word that the sensor was sound, or by a confirmed defect. It does not
-- speak of a test after which another one already found the sensor without the defect.
create table marts.answered_tests as
with spoken as (
    select
        after.*, if(repairs.event is not null, 'defect', 'sound') as answer
    from marts.repairs_after_tests as after
    join marts.repairs as repairs using (outcome_id)
    where repairs.event is not null or repairs.fault_confirmed = 'no'
),

-- the repair that names the test comes first; of several such, the one that confirmed a defect
answering as (
    select
        *,
        -- where no test is named, the last one before the repair is taken to have led to it
        named or (not names_a_test and not exists (
            select 1 from marts.repairs_after_tests as between_them
            where between_them.outcome_id = spoken.outcome_id
                and between_them.tested_at > spoken.tested_at
        )) as led_to_it
    from spoken
    where named or not exists (
        select 1 from marts.repairs_after_tests as between_them
        where between_them.outcome_id = spoken.outcome_id
            and between_them.tested_at > spoken.tested_at
            and between_them.defect_found = 'without'
    )
    qualify row_number() over (
        partition by session_id
        order by named desc, named and answer = 'defect' desc, closed_on, outcome_id
    ) = 1
),

worked as (
    select
        after.session_id, any_value(after.sensor_id) as sensor_id,
        arg_max(
            after.outcome_id, after.closed_on::varchar || after.outcome_id
        ) filter (repairs.action <> 'no_fault_found') as last_work_id
    from marts.repairs_after_tests as after
    join marts.repairs as repairs using (outcome_id)
    group by after.session_id
)

select
    worked.session_id, worked.sensor_id, answering.outcome_id, answering.answer,
    coalesce(answering.led_to_it, false) as led_to_it, worked.last_work_id
from worked
left join answering using (session_id)
