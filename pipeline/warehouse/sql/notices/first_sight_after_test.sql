-- grain: one sensor tested before the day it was first seen
select 'Sensor ' || lives.sensor_id || ' was tested on ' || min(tests.tested_on)
    || ', before the day it is said to have been first seen, ' || any_value(sensors.first_seen_on) || '.' as notice
from marts.tests as tests
join marts.sensor_lives as lives using (sensor_id)
join staging.sensors as sensors using (sensor_id)
where tests.tested_on < sensors.first_seen_on
group by lives.sensor_id
order by lives.sensor_id
