-- grain: one closed repair on one of the bike's sensors
select
    repairs.outcome_id, repairs.sensor_id, repairs.session_id, repairs.closed_on,
    repairs.odometer_km, repairs.action, repairs.fault_confirmed, repairs.confirmed_by,
    repairs.on_road, repairs.event
from marts.repairs as repairs
join marts.sensor_lives as lives using (sensor_id)
where lives.unit_id = $unit_id
order by repairs.closed_on, repairs.outcome_id
