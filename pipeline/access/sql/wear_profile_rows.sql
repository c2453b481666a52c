-- grain: one travel bin of one test of the life asked for, the earliest test first
select
    profiles.session_id, tests.tested_on, bands.sensor_age_km, profiles.bin_from_pct,
    profiles.exposure, profiles.dropout_count, profiles.roughness,
    fleet.low as fleet_low, fleet.high as fleet_high,
    coalesce(fleet.sensor_count, 0) as fleet_sensors
from marts.wear_bands as bands
join marts.wear_profiles as profiles using (session_id)
join marts.tests as tests using (session_id)
left join marts.wear_roughness_band as fleet
    on fleet.part_no = tests.part_no and fleet.bin_from_pct = profiles.bin_from_pct
where bands.life_id = $life_id and bands.band_no = 1
order by tests.tested_at, profiles.session_id, profiles.bin_from_pct
