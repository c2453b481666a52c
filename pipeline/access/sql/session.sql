-- grain: one bench test
select
    tests.session_id, tests.sensor_id, tests.unit_id, bikes.label, bikes.model_code, tests.mount,
    tests.part_no, tests.kind, tests.output, tests.shop_id, tests.tested_at_text as tested_at,
    tests.odometer_km, tests.sensor_age_km, tests.reason, tests.symptom, tests.technician,
    tests.sweep_channel, tests.supply_v, tests.temp_c, tests.fault_codes, tests.unplugged_key_on,
    tests.verdict, tests.note, sweeps.samples_name
from marts.tests as tests
join marts.bikes using (unit_id)
left join staging.sweeps as sweeps using (session_id)
where tests.session_id = $session_id
