-- grain: one travel bin of one part number: how rough sensors are there that passed without a defect
create table marts.wear_roughness_band as
with sound as (
    -- sensors and the order of tests by number: the bins, fifty of each test, are grouped by them
    select
        session_id, part_no,
        dense_rank() over (order by part_no, sensor_id)::integer as sensor_no,
        row_number() over (order by tested_at, session_id)::integer as turn
    from marts.tests
    where defect_found = 'without'
),

by_sensor as (
    -- one test a sensor, since a range of means would be too narrow for a test to be held against
    select
        any_value(sound.part_no) as part_no, profiles.bin_from_pct,
        arg_max(profiles.roughness, sound.turn) as roughness
    from marts.wear_profiles as profiles
    join sound using (session_id)
    where profiles.roughness is not null
    group by sound.sensor_no, profiles.bin_from_pct
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
