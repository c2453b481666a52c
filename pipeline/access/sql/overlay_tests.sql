-- grain: one earlier swept test, in the same channel, of the same sensor or of the one before it
with this as (
    from marts.tests where session_id = $session_id
),

swept as (
    select
        tests.session_id, tests.sensor_id, tests.sensor_id = this.sensor_id as same_sensor,
        tests.part_no, tests.tested_at, tests.tested_on, tests.odometer_km, tests.verdict,
        tests.conclusion, tests.dropout_count
    from this
    join marts.tests as tests
        on tests.unit_id = this.unit_id and tests.mount = this.mount
        and tests.sweep_channel = this.sweep_channel and tests.tested_at < this.tested_at
    where tests.conclusion is not null
),

predecessor as (
    select sensor_id from swept where not same_sensor order by tested_at desc limit 1
)

select * exclude (tested_at)
from swept
where same_sensor or sensor_id in (from predecessor)
order by tested_at desc, session_id
