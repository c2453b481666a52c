-- grain: one life of one sensor: ages at entry, at the last test without a defect, at the first with it
create table marts.life_windows as
with span_defects as (
    select spans.life_id, min(defects.closed_on) as closed_on,
        arg_min(defects.bad_odometer_km, (defects.closed_on, defects.outcome_id)) as bad_km,
        arg_min(coalesce(defects.good_odometer_km, -1), (defects.closed_on, defects.outcome_id))
            as good_km,
        arg_min(defects.road_failure, (defects.closed_on, defects.outcome_id)) as road_failure,
        arg_min(
            defects.road_failure or defects.failed_odometer_km is not null
                or found.reason = 'symptom',
            (defects.closed_on, defects.outcome_id)
        ) as heard
    from marts.sensor_spans as spans
    join marts.defects using (sensor_id)
    left join marts.tests as found on found.session_id = defects.found_by
    where (not spans.repaired or defects.closed_on > spans.from_on)
        and (spans.next_from_on is null or defects.closed_on <= spans.next_from_on)
    group by spans.life_id
),

-- the last test without a finding; in a life that a defect ended, the last before it was found
span_tests as (
    select spans.life_id,
        if(span_defects.closed_on is null, max(tests.odometer_km), nullif(any_value(span_defects.good_km), -1))
            as good_km,
        count(tests.session_id) filter (tests.reason = 'symptom') as idle_complaints
    from marts.sensor_spans as spans
    left join span_defects using (life_id)
    left join marts.life_tests as tests
        on tests.life_id = spans.life_id and tests.defect_found = 'without'
    group by spans.life_id, span_defects.closed_on
),

windows as (
    select
        spans.life_id, spans.sensor_id, lives.unit_id, lives.part_no, bikes.duty, spans.repaired,
        lives.age_known,
        spans.from_odometer_km - lives.zero_km as entry_km,
        greatest(coalesce(span_tests.good_km, spans.from_odometer_km), spans.from_odometer_km)
            - lives.zero_km as good_km,
        span_tests.good_km is not null as tested_good,
        -- greatest() passes over blanks: without a defect the age must stay blank
        if(span_defects.bad_km is null, null,
            greatest(span_defects.bad_km, span_tests.good_km, spans.from_odometer_km) - lives.zero_km) as bad_km,
        coalesce(span_defects.road_failure, false) as road_failure,
        -- a rider's complaint or a road failure led to the finding, not a test that was due anyway
        coalesce(span_defects.heard, false) as heard,
        -- age up to which nothing was heard of it; blank where a defect was found
        if(span_defects.bad_km is null, contacts.contact_km, null) as contact_km,
        -- a test that points to a defect which no repair has confirmed or denied
        if(span_defects.bad_km is null, contacts.doubt_km, null) as doubt_km,
        if(span_defects.bad_km is null, contacts.doubt_sign, null) as doubt_sign,
        if(span_defects.bad_km is null, contacts.doubt_heard, null) as doubt_heard,
        -- complaints of something else: the test they led to found the sensor without the defect
        span_tests.idle_complaints,
        bikes.usual_km_per_day as km_per_day, bikes.shop_id, spans.earlier_repairs,
        span_defects.closed_on as found_on, lives.zero_km
    from marts.sensor_spans as spans
    join marts.sensor_lives as lives using (sensor_id)
    join marts.bikes using (unit_id)
    left join span_defects using (life_id)
    left join span_tests using (life_id)
    left join marts.contacts using (life_id)
    where coalesce(lives.kind, 'potentiometer') = 'potentiometer'
),

-- the days on which each bike's odometer stood at a reading
odometer_days as (
    select unit_id, odometer_km, min(read_on) as first_on, max(read_on) as last_on
    from marts.readings
    group by unit_id, odometer_km
),

-- the last reading of the bike up to each age: of all its few ones, which is less work than sorting
-- the readings of all bikes for an asof join
read_by_then as (
    select
        windows.life_id,
        max(days.odometer_km) filter (days.odometer_km <= zero_km + entry_km + 0.001) as entered_km,
        arg_max(days.last_on, days.odometer_km)
            filter (days.odometer_km <= zero_km + entry_km + 0.001) as entered_on,
        max(days.odometer_km) filter (days.odometer_km <= zero_km + good_km + 0.001) as tested_km,
        arg_max(days.last_on, days.odometer_km)
            filter (days.odometer_km <= zero_km + good_km + 0.001) as tested_on,
        max(days.odometer_km)
            filter (days.odometer_km <= zero_km + coalesce(bad_km, contact_km) + 0.001) as ended_km,
        arg_max(days.first_on, days.odometer_km)
            filter (days.odometer_km <= zero_km + coalesce(bad_km, contact_km) + 0.001) as ended_on
    from windows
    join odometer_days as days using (unit_id)
    group by windows.life_id
)

select
    windows.* exclude (zero_km),
    coalesce(bad_km, contact_km) as end_km,
    -- what was read long before an age does not date it
    if(zero_km + entry_km - entered_km < 200, entered_on, null) as entry_on,
    if(zero_km + good_km - tested_km < 200, tested_on, null) as good_on,
    if(zero_km + coalesce(bad_km, contact_km) - ended_km < 200, ended_on, null) as end_on
from windows
left join read_by_then using (life_id)
