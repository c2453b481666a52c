-- grain: one sensor in service on the day: km run in sight until the next date, and whether a defect
-- came to light in them; an odometer between two readings is taken to have risen evenly
with scored as (
    select
        sensors.sensor_id, sensors.unit_id, sensors.part_no, sensors.duty, sensors.age_now_km,
        coalesce(windows.found_on <= $until, false) as found,
        -- one removed without a defect is seen no further; a bike with one found runs on
        if(windows.found_on <= $until, $until, least($until, lives.to_on)) as to_on
    from marts.sensors_now as sensors
    join built_marts.sensor_lives as lives using (sensor_id)
    left join built_marts.life_windows as windows using (life_id)
    where coalesce(sensors.kind, 'potentiometer') = 'potentiometer'
),

readings as (
    select unit_id, read_on, max(odometer_km) as odometer_km
    from built_marts.readings
    group by unit_id, read_on
),

stretches as (
    select
        unit_id, read_on, odometer_km,
        lead(read_on) over of_bike as next_on, lead(odometer_km) over of_bike as next_km
    from readings
    window of_bike as (partition by unit_id order by read_on)
),

days as (
    select sensor_id, unit_id, 'from' as which, $as_of::date as day from scored
    union all
    select sensor_id, unit_id, 'to', to_on from scored
),

placed as (
    select
        days.sensor_id, days.which,
        -- beyond the last reading the bike is out of sight
        stretches.odometer_km + coalesce(
            (stretches.next_km - stretches.odometer_km) * (days.day - stretches.read_on)
                / (stretches.next_on - stretches.read_on), 0
        ) as odometer_km
    from days
    asof join stretches
        on stretches.unit_id = days.unit_id and stretches.read_on <= days.day
)

select
    scored.sensor_id, scored.part_no, scored.duty, scored.age_now_km as age_km, scored.found,
    greatest(
        max(placed.odometer_km) filter (placed.which = 'to')
            - max(placed.odometer_km) filter (placed.which = 'from'), 0
    ) as run_km
from scored
join placed using (sensor_id)
where scored.age_now_km is not null
group by all
order by scored.sensor_id
