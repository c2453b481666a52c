-- grain: one test of one of the bike's sensors
select
    session_id, sensor_id, tested_on, odometer_km, reason, symptom, verdict, conclusion,
    fault_nature, dropout_count, dropout_peak_travel_pct, smoothness_pct, fault_codes, note
from marts.tests
where unit_id = $unit_id
order by tested_at, session_id
