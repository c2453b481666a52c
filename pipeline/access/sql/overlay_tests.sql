-- grain: one swept test before the one asked for, in its channel, of its sensor or the one before it
with swept as (
    select
        session_id, sensor_id, sensor_id = $sensor_id as same_sensor, part_no, tested_at,
        tested_on, odometer_km, verdict, conclusion, dropout_count
    from marts.tests
    where conclusion is not null
        and unit_id = $unit_id and mount = $mount and sweep_channel = $sweep_channel
        and session_id <> $session_id and tested_at < $tested_at::timestamptz
),

predecessor as (
    select sensor_id from swept where not same_sensor order by tested_at desc limit 1
)

select * exclude (tested_at)
from swept
where same_sensor or sensor_id in (from predecessor)
order by tested_at desc, session_id
