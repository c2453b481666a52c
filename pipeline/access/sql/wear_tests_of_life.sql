-- grain: one mapped test of the life asked for, the earliest first, as the wear map takes it
select
    bands.session_id, tests.tested_on, tests.sensor_id, bands.life_id, tests.unit_id, tests.part_no,
    null::varchar as duty, 0 as odometer_km, bands.sensor_age_km,
    measures.speed_pct_per_s, measures.fault_nature
from marts.wear_bands as bands
join marts.tests as tests on tests.session_id = bands.session_id
join marts.sweep_measures as measures on measures.session_id = bands.session_id
where bands.life_id = $life_id and bands.band_no = 1
order by tests.tested_at, bands.session_id
