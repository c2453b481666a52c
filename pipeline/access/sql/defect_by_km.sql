-- grain: one sensor in service and one distance ahead; the sensor told by its place by name
with placed as (
    select sensor_id, row_number() over (order by sensor_id) - 1 as place from marts.plan_sensors
)

select placed.place, by_km.km, by_km.defect
from marts.defect_by_km as by_km
join placed using (sensor_id)
