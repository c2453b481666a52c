-- grain: one sensor whose removal is known only from what came after it
select 'Sensor ' || sensor_id || ' on bike ' || unit_id || ' has no removal on record; taken as removed on '
    || to_on || ', when the next one was fitted or a replacement was closed.' as notice
from marts.sensor_lives
where end_assumed
order by sensor_id
