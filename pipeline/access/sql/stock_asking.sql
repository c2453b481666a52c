-- grain: one sensor of the shop and number ordered that is asked for, the likeliest to ask first
with horizon as (
    select coalesce(min(days) filter (days >= $covered_days), max(days)) as days
    from marts.part_need
)

select need.sensor_id, need.unit_id, bikes.label, need.part_no, need.days, need.need
from marts.part_need as need
join horizon using (days)
join marts.bikes as bikes using (unit_id)
where need.draw = 0 and need.need is not null and need.shop_id = $shop_id
    and (need.part_no = $part_no or list_contains(string_split($used_for, ', '), need.part_no))
order by need.need desc, need.sensor_id
