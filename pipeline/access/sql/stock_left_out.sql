-- grain: one sensor whose need is not known
select left_out.sensor_id, left_out.unit_id, bikes.label, bikes.shop_name, left_out.part_no
from marts.stock_left_out as left_out
join marts.bikes as bikes using (unit_id)
order by bikes.shop_name, left_out.part_no, bikes.label, left_out.sensor_id
