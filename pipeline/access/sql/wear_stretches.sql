-- grain: one stretch to sweep slowest of one sensor in service of the bike asked for
select stretches.*
from marts.wear_stretches as stretches
join marts.sensor_lives as lives using (sensor_id)
where lives.unit_id = $unit_id
order by stretches.sensor_id, stretches.stretch_no
