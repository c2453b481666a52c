-- grain: one sensor looked at in a planned visit
from marts.check_work
order by on_day, unit_id, sensor_id
