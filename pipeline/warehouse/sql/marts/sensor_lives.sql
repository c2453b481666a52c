-- grain: one sensor, from fitting or first sight to removal or the as-of day
create table marts.sensor_lives as
with first_tests as (
    select sensor_id, min(tested_on) as tested_on, min(odometer_km) as odometer_km
    from staging.test_sessions
    group by sensor_id
),

replaced as (
    select sensor_id, min(closed_on) as closed_on, min(odometer_km) as odometer_km
    from staging.repair_outcomes
    where action = 'sensor_replaced'
    group by sensor_id
),

begun as (
    select
        sensors.*,
        fitted_km is not null or origin = 'original' as age_known,
        coalesce(fitted_km, if(origin = 'original', 0, null), first_seen_km,
            first_tests.odometer_km) as zero_km,
        -- one fitted here is watched from new; others from first sight (left truncation)
        if(origin = 'fitted_here' and fitted_km is not null, fitted_km,
            coalesce(first_seen_km, first_tests.odometer_km, fitted_km)) as watched_from_km,
        coalesce(fitted_on, first_seen_on, first_tests.tested_on) as from_on,
        coalesce(fitted_km, first_seen_km, first_tests.odometer_km,
            if(origin = 'original', 0, null)) as from_km,
        replaced.closed_on as replaced_on, replaced.odometer_km as replaced_km
    from staging.sensors
    left join first_tests using (sensor_id)
    left join replaced using (sensor_id)
),

followed as (
    select
        *,
        lead(from_on) over same_mount as next_on, lead(from_km) over same_mount as next_km
    from begun
    window same_mount as (partition by unit_id, mount order by from_on nulls first, sensor_id)
)

select
    followed.sensor_id, followed.unit_id, followed.mount, followed.part_no,
    parts.description as part_description, parts.kind, parts.tracks, parts.output,
    followed.origin, followed.age_known, followed.zero_km,
    greatest(followed.watched_from_km, followed.zero_km) as watched_from_km,
    followed.from_on, followed.from_km,
    coalesce(removed_on, replaced_on, next_on, if(bikes.out_of_service, bikes.out_of_service_on, null)) as to_on,
    coalesce(removed_km, if(removed_on is null, coalesce(replaced_km, next_km), replaced_km)) as to_km,
    removed_reason,
    removed_on is null and (replaced_on is not null or next_on is not null) as end_assumed,
    removed_on is null and replaced_on is null and next_on is null
        and not bikes.out_of_service as in_service
from followed
join marts.bikes using (unit_id)
join staging.parts using (part_no)
