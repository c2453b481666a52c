-- grain: one factor of the chance of a defect of one sensor in service on the bike
select explained.sensor_id, explained.factor, explained.change, explained.words
from marts.risk_explained as explained
join marts.sensors_now as sensors using (sensor_id)
where sensors.unit_id = $unit_id
order by explained.sensor_id, explained.place
