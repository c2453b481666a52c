-- grain: one life of one sensor: the last odometer reading up to which nothing was heard of it
create table marts.contacts as
with ends as (
    select
        spans.life_id, spans.sensor_id, lives.unit_id, lives.zero_km, spans.from_on,
        spans.from_odometer_km,
        least(spans.next_from_on, lives.to_on) as to_on
    from marts.sensor_spans as spans
    join marts.sensor_lives as lives using (sensor_id)
),

-- a test that points to the sensor and that no repair has answered with "the sensor was sound"
doubts as (
    select
        ends.life_id, tests.tested_on, tests.tested_at, session_id, tests.odometer_km,
        case
            when tests.band_chance >= 0.9 then 'worn_band'
            when tests.verdict in ('fail', 'suspect') then tests.verdict
            else 'dropouts_seen'
        end as sign,
        coalesce(tests.reason = 'symptom', false) as heard
    from ends
    join marts.life_tests as tests using (life_id)
    left join marts.answered_tests as answered using (session_id)
    where tests.defect_found <> 'without'
        and (tests.verdict is not null or tests.fault_nature = 'worn_track')
        and (ends.to_on is null or tests.tested_on <= ends.to_on)
        and answered.answer is distinct from 'sound'
),

last_without as (
    select ends.life_id, max(tests.tested_on) as tested_on
    from ends
    join marts.life_tests as tests using (life_id)
    where tests.defect_found = 'without'
        and (ends.to_on is null or tests.tested_on <= ends.to_on)
    group by ends.life_id
),

open_doubts as (
    select
        doubts.life_id, min(doubts.tested_on) as doubted_on,
        arg_min(doubts.odometer_km, (doubts.tested_on, doubts.tested_at, doubts.session_id)) as doubted_km,
        arg_min(doubts.sign, (doubts.tested_on, doubts.tested_at, doubts.session_id)) as doubt_sign,
        arg_min(doubts.heard, (doubts.tested_on, doubts.tested_at, doubts.session_id)) as doubt_heard
    from doubts
    left join last_without using (life_id)
    where last_without.tested_on is null or doubts.tested_on > last_without.tested_on
    group by doubts.life_id
)

select
    ends.life_id,
    max(readings.odometer_km) - any_value(ends.zero_km) as seen_km,
    max(readings.odometer_km) filter (
        open_doubts.doubted_on is null or readings.read_on <= open_doubts.doubted_on
    ) - any_value(ends.zero_km) as contact_km,
    any_value(open_doubts.doubted_km) - any_value(ends.zero_km) as doubt_km,
    any_value(open_doubts.doubt_sign) as doubt_sign,
    any_value(open_doubts.doubt_heard) as doubt_heard
from ends
left join open_doubts using (life_id)
join marts.readings as readings
    on readings.unit_id = ends.unit_id
    and readings.odometer_km >= ends.from_odometer_km
    and (ends.to_on is null or readings.read_on <= ends.to_on)
group by ends.life_id
