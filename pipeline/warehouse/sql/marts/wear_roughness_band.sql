-- grain: one travel bin of one part number: how rough sensors are there that passed without a defect
create table marts.wear_roughness_band as
with by_sensor as (
    -- one test a sensor, since a range of means would be too narrow for a test to be held against
    select
        tests.part_no, tests.sensor_id, profiles.bin_from_pct,
        arg_max(profiles.roughness, (tests.tested_at, session_id)) as roughness
    from marts.wear_profiles as profiles
    join marts.tests as tests using (session_id)
    where tests.defect_found = 'without' and profiles.roughness is not null
    group by tests.part_no, tests.sensor_id, profiles.bin_from_pct
)

select
    part_no, bin_from_pct,
    quantile_cont(roughness, 0.05) as low,
    median(roughness) as middle,
    quantile_cont(roughness, 0.95) as high,
    count(*) as sensor_count
from by_sensor
group by part_no, bin_from_pct
having count(*) >= 10
