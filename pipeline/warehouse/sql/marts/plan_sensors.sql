-- grain: one sensor in service that wears, as the plans take it
create table marts.plan_sensors as
select
    outlook.sensor_id, sensors.unit_id, bikes.shop_id, bikes.fleet_id, sensors.part_no,
    coalesce(numbers.new_part_no, sensors.part_no) as new_part_no, parts.unit_price as part_cost,
    outlook.defect_now, outlook.km_per_day, outlook.new_hazard_ratio
from marts.sensor_outlook as outlook
join marts.sensors_now as sensors using (sensor_id)
join marts.bikes as bikes using (unit_id)
left join marts.new_part_numbers as numbers on numbers.part_no = sensors.part_no
left join staging.parts as parts
    on parts.part_no = coalesce(numbers.new_part_no, sensors.part_no)
order by outlook.sensor_id
