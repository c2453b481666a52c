-- grain: one sensor in service: all that the advice rests on
create table marts.evidence as
with waiting as (
    select unit_id, string_agg(sentence, chr(10) order by row_id, sentence) as waiting
    from (
        select unit_id, sentence, min(row_id) as row_id
        from marts.waiting
        where stands_aside
        group by unit_id, sentence
    )
    group by unit_id
),

unanswered as (
    -- the latest earlier sweep with drop-outs, where no sweep that can tell and no repair came after
    select
        seen.sensor_id,
        arg_max(
            'The sweep of ' || seen.tested_on || ' showed ' || seen.dropout_count
                || ' drop-outs, and no later sweep that can tell, and no repair, answers them.',
            (seen.tested_at, seen.session_id)
        ) as unanswered
    from marts.tests as seen
    join marts.last_tests on last_tests.sensor_id = seen.sensor_id
    where seen.conclusion = 'dropouts_seen'
        and seen.tested_at < last_tests.tested_at
        and not exists (
            select 1 from marts.tests as later
            where later.sensor_id = seen.sensor_id and later.tested_at > seen.tested_at
                and later.conclusion <> 'cannot_tell'
        )
        and seen.session_id not in (select session_id from marts.answered_tests)
    group by seen.sensor_id
),

repaired as (
    select
        answered.session_id,
        replace(repairs.action, '_', ' ') || ' on ' || repairs.closed_on as repaired_since_test
    from marts.answered_tests as answered
    join marts.repairs as repairs on repairs.outcome_id = answered.last_work_id
)

select
    sensors.sensor_id, sensors.unit_id, sensors.part_no, sensors.kind,
    risk.defect_now, risk.defect_now_low, risk.defect_now_high, risk.defect_5000_km,
    risk.basis as risk_basis,
    $as_of - bikes.odometer_read_on as odometer_age_days,
    last_tests.session_id as last_session_id, last_tests.tested_on as last_tested_on,
    last_tests.verdict as last_verdict, last_tests.conclusion as last_conclusion,
    last_tests.fault_nature as last_fault_nature,
    last_tests.dropout_count as last_dropout_count,
    last_tests.dropout_peak_travel_pct as last_dropout_travel_pct,
    last_tests.smoothness_pct as last_smoothness_pct,
    last_tests.sweep_advice as last_sweep_advice,
    case
        when bikes.odometer_now_km is null or last_tests.odometer_km is null then null
        else greatest(bikes.odometer_now_km - last_tests.odometer_km, 0)
    end as km_since_test,
    outcomes.elsewhere, unanswered.unanswered, repaired.repaired_since_test, waiting.waiting
from marts.sensors_now as sensors
join marts.bikes using (unit_id)
left join marts.defect_risk as risk using (sensor_id)
left join marts.last_tests using (sensor_id)
left join marts.check_outcomes as outcomes on outcomes.session_id = last_tests.session_id
left join repaired on repaired.session_id = last_tests.session_id
left join unanswered on unanswered.sensor_id = sensors.sensor_id
left join waiting on waiting.unit_id = sensors.unit_id
order by sensors.sensor_id
