-- grain: one sound sensor, in the order of their places
select distinct part_no, sensor_id, sensor_no
from good_numbered
order by sensor_no
