-- grain: one bike, in service or not: what is known of it and what is not
with sensors as (
    select
        unit_id, count(*) as sensor_count,
        count(road_90_days) as chance_count,
        count(*) filter (last_session_id is null) as untested_count,
        count(*) filter (kind is null) as kindless_count,
        count(*) filter (action = 'not_enough_known') as not_known_count,
        count(*) filter (waiting is not null and waiting <> '') as waiting_count,
        max(last_tested_on) as last_tested_on
    from marts.worklist
    group by unit_id
),

-- a bike comes once in the weeks planned; should it ever stand twice, the first day is shown
visits as (
    select unit_id, min(on_day) as visit_on
    from marts.check_visits
    group by unit_id
),

unplaced as (
    select unit_id, min(plight) as plight
    from marts.check_unplaced
    group by unit_id
)

select
    bikes.unit_id, bikes.label, bikes.shop_id, bikes.shop_name, bikes.fleet_id, bikes.model_code,
    bikes.duty, bikes.out_of_service, bikes.out_of_service_on, bikes.odometer_read_on,
    $as_of::date - bikes.odometer_read_on as days_since_reading, riding.odometer_stale,
    coalesce(sensors.sensor_count, 0) as sensor_count,
    coalesce(sensors.chance_count, 0) as chance_count,
    coalesce(sensors.untested_count, 0) as untested_count,
    coalesce(sensors.kindless_count, 0) as kindless_count,
    coalesce(sensors.not_known_count, 0) as not_known_count,
    coalesce(sensors.waiting_count, 0) as waiting_count,
    sensors.last_tested_on, visits.visit_on, unplaced.plight
from marts.bikes as bikes
left join sensors using (unit_id)
left join marts.riding_rates as riding on riding.unit_id = bikes.unit_id
left join visits on visits.unit_id = bikes.unit_id
left join unplaced on unplaced.unit_id = bikes.unit_id
order by bikes.label, bikes.unit_id
