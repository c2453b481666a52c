-- grain: one sensor in service
from marts.worklist
order by urgency desc, sensor_id
