-- grain: one sensor in service, with its bike's model and its mount
select lives.sensor_id, bikes.model_code, lives.mount
from marts.sensor_lives as lives
join marts.bikes using (unit_id)
where lives.in_service
order by lives.sensor_id
