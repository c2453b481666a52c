-- grain: one bench test
select
    tests.session_id, tests.sensor_id, tests.unit_id,
    -- a shop sees its own test of a bike that went to another, and nothing more of that bike
    coalesce(bikes.label, tests.unit_id) as label, coalesce(bikes.model_code, '') as model_code,
    tests.mount,
    tests.part_no, tests.kind, tests.output, tests.shop_id, tests.tested_at_text as tested_at,
    tests.odometer_km, tests.sensor_age_km, tests.reason, tests.symptom, tests.technician,
    tests.sweep_channel, tests.supply_v, tests.temp_c, tests.fault_codes, tests.unplugged_key_on,
    tests.verdict, tests.note, kept.samples_name
from marts.tests as tests
left join marts.bikes as bikes using (unit_id)
left join marts.sweep_parts as kept using (session_id)
where tests.session_id = $session_id
