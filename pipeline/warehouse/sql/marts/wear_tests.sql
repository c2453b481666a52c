-- grain: one bench test with a measured sweep of a sensor that has a track, and the life it belongs to
select
    tests.session_id, tests.sensor_id, tests.life_id, tests.unit_id, tests.part_no, bikes.duty,
    tests.odometer_km, greatest(tests.sensor_age_km, 0) as sensor_age_km,
    measures.speed_pct_per_s, measures.fault_nature,
    -- of all that the map takes from a test but its sensor and bike; what was measured is told by
    -- the key that it is kept under
    md5(concat_ws(
        chr(31), session_id, tests.life_id, tests.part_no, coalesce(bikes.duty, ''),
        greatest(tests.sensor_age_km, 0)::varchar, contexts.measure_key
    )) as key,
    if(
        tests.defect_found = 'without',
        row_number() over (order by tests.tested_at, tests.session_id), 0
    )::integer as passed_turn
from marts.life_tests as tests
join marts.bikes as bikes using (unit_id)
join marts.sweep_measures as measures using (session_id)
join marts.sweep_contexts as contexts using (session_id)
semi join marts.sweep_profile as profile using (session_id)
where coalesce(tests.kind, 'potentiometer') = 'potentiometer'
    and tests.sensor_age_km is not null
order by tests.life_id, tests.tested_at, tests.session_id
