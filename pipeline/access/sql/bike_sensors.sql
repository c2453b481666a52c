-- grain: one sensor that is or was on the bike
select
    sensor_id, mount, part_no, part_description, origin, in_service, from_on, from_km, to_on, to_km,
    removed_reason, end_assumed
from marts.sensor_lives
where unit_id = $unit_id
order by mount, from_on nulls first, sensor_id
