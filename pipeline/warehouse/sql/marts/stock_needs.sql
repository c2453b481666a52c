-- grain: one sensor in service, one fit and one day ahead, with where the sensor's part is asked for
select
    need.sensor_id, sensors.unit_id, sensors.shop_id, sensors.part_no, need.draw, need.days,
    need.need
from marts.part_need as need
join marts.plan_sensors as sensors using (sensor_id)
order by need.sensor_id, need.draw, need.days
