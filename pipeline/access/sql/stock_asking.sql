-- grain: one sensor of the shop and number ordered that is asked for, the likeliest to ask first
with horizon as (
    select coalesce(min(days) filter (days >= $covered_days), max(days)) as days
    from marts.part_need
)

select need.sensor_id, sensors.unit_id, bikes.label, sensors.part_no, need.days, need.need
from marts.part_need as need
join horizon using (days)
join marts.plan_sensors as sensors using (sensor_id)
join marts.bikes as bikes using (unit_id)
where need.draw = 0 and need.need is not null and sensors.shop_id = $shop_id
    and (
        sensors.part_no = $part_no
        or list_contains(string_split($used_for, ', '), sensors.part_no)
    )
order by need.need desc, need.sensor_id
