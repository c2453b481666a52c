-- grain: one measured sweep to be judged by itself: no sensor, life or day counts
select
    measures.session_id, measures.session_id as sensor_id, measures.session_id as life_id,
    measures.session_id as unit_id, 'any' as part_no, null::varchar as duty,
    0 as odometer_km, 0 as sensor_age_km, measures.speed_pct_per_s, measures.fault_nature
from marts.sweep_measures as measures
semi join unjudged_sweeps using (session_id)
order by measures.session_id
