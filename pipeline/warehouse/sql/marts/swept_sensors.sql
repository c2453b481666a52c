-- grain: one sound sensor that was swept, in the order of their places
select distinct part_no, sensor_id, sensor_no
from good_sweeps
order by sensor_no
