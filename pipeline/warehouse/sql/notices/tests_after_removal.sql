-- grain: one sensor tested long after it was taken off its bike
select 'Sensor ' || lives.sensor_id || ' was taken off its bike on ' || lives.to_on
    || ', yet a test of it is dated ' || max(tests.tested_on) || '.' as notice
from marts.tests as tests
join marts.sensor_lives as lives using (sensor_id)
where tests.tested_on > lives.to_on + 90
group by lives.sensor_id, lives.to_on
order by lives.sensor_id
