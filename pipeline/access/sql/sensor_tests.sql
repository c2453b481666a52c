-- grain: one other test of the same sensor
select
    session_id, sensor_id, tested_on, odometer_km, reason, symptom, verdict, conclusion,
    fault_nature, dropout_count, dropout_peak_travel_pct, smoothness_pct, fault_codes, note
from marts.tests
where sensor_id = $sensor_id and session_id <> $session_id
order by tested_at, session_id
