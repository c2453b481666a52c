-- grain: one life of a sensor in the asker's scope
create table scope.lives as
select life_id
from whole.marts.sensor_spans
where sensor_id in (select sensor_id from scope.sensors)
