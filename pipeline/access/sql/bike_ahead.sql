-- grain: one horizon of one sensor in service on the bike
select ahead.*
from marts.risk_ahead as ahead
join marts.sensors_now as sensors using (sensor_id)
where sensors.unit_id = $unit_id
order by ahead.sensor_id, ahead.horizon_kind desc, ahead.horizon
