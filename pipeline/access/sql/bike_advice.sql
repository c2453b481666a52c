-- grain: one sensor in service on the bike
from marts.worklist
where unit_id = $unit_id
order by urgency desc, sensor_id
