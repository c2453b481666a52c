-- grain: one sensor in service and one day ahead, by the estimate itself
select sensors.sensor_id, sensors.unit_id, ahead.days, ahead.heard
from marts.defect_by_day as ahead
join marts.sensors_now as sensors using (sensor_id)
where ahead.draw = 0 and ahead.days between 1 and $days
order by sensors.unit_id, sensors.sensor_id, ahead.days
