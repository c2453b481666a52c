-- grain: one life of one sensor: a cleaning with a confirmed fault ends one and begins the next
create table marts.sensor_spans as
with begins as (
    select
        sensor_id, watched_from_km as from_odometer_km, from_on, false as repaired,
        null as begun_by
    from marts.sensor_lives
    where zero_km is not null
    union all
    select defects.sensor_id, defects.closed_km, defects.closed_on, true, defects.outcome_id
    from marts.defects
    where defects.action = 'sensor_cleaned'
),

numbered as (
    select
        *,
        row_number() over in_order as life_no,
        lead(from_on) over in_order as next_from_on,
        lead(begun_by) over in_order as ended_by
    from begins
    window in_order as (partition by sensor_id order by repaired, from_on, begun_by)
)

select
    sensor_id || if(life_no = 1, '', '/' || life_no) as life_id,
    numbered.*,
    (
        select count(*) from staging.repair_outcomes as repairs
        where repairs.sensor_id = numbered.sensor_id
            and repairs.odometer_km < numbered.from_odometer_km
            and repairs.action in ('connector_repaired', 'wiring_repaired', 'other_repair')
    ) as earlier_repairs
from numbered
