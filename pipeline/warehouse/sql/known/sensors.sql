-- grain: one sensor known by the day, not yet removed if it was removed later
create table staging.sensors as
with begun as (
    select
        lives.sensor_id, lives.unit_id,
        if(lives.in_service, date '9999-12-31', lives.to_on) as to_on,
        coalesce(lives.from_on, (
            select min(readings.read_on) from built_marts.readings
            where readings.unit_id = lives.unit_id and readings.odometer_km >= lives.from_km
        )) as began_on
    from built_marts.sensor_lives as lives
)

select sensors.* replace (
    if(begun.to_on > $as_of, null, sensors.removed_on) as removed_on,
    if(begun.to_on > $as_of, null, sensors.removed_km) as removed_km,
    if(begun.to_on > $as_of, null, sensors.removed_reason) as removed_reason
)
from built_staging.sensors as sensors
join begun using (sensor_id)
join staging.bikes_known on bikes_known.unit_id = begun.unit_id
where greatest(begun.began_on, bikes_known.known_on) <= $as_of and begun.began_on is not null
