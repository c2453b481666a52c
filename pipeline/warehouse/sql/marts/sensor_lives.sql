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

-- where the day was not written down, the bike's odometer readings tell about when it was
dated as (
    select
        begun.*,
        coalesce(from_on, (
            select max(read_on) from marts.readings
            where readings.unit_id = begun.unit_id and readings.odometer_km <= begun.from_km
        )) as started_on,
        coalesce(removed_on, (
            select min(read_on) from marts.readings
            where readings.unit_id = begun.unit_id and readings.odometer_km >= begun.removed_km
        )) as taken_off_on,
        -- any of the three says that it is gone, also where its day was mistyped and blanked
        removed_on is not null or removed_km is not null or removed_reason is not null as taken_off
    from begun
),

-- only a sensor known to have begun later ends the one before it on the same mount
followed as (
    select
        dated.*,
        lead(started_on) over same_mount as next_on, lead(from_km) over same_mount as next_km
    from dated
    window same_mount as (
        partition by unit_id, mount, started_on is null order by started_on, from_km, sensor_id
    )
)

select
    followed.sensor_id, followed.unit_id, followed.mount, followed.part_no,
    parts.description as part_description, parts.kind, parts.tracks, parts.output,
    followed.origin, followed.age_known, followed.zero_km,
    greatest(followed.watched_from_km, followed.zero_km) as watched_from_km,
    followed.from_on, followed.from_km,
    coalesce(
        taken_off_on, replaced_on, if(started_on < next_on, next_on, null),
        if(bikes.out_of_service, bikes.out_of_service_on, null)
    ) as to_on,
    coalesce(
        removed_km, replaced_km, if(not taken_off and started_on < next_on, next_km, null)
    ) as to_km,
    removed_reason,
    not taken_off and (replaced_on is not null or coalesce(started_on < next_on, false))
        as end_assumed,
    not taken_off and replaced_on is null and not coalesce(started_on < next_on, false)
        and not bikes.out_of_service as in_service
from followed
join marts.bikes using (unit_id)
join staging.parts using (part_no)
