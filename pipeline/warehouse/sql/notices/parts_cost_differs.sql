-- grain: one part number whose replacements record a cost far from its unit price
select count(*) || ' replacements of part ' || lives.part_no || ' record a parts cost of '
    || printf('%.2f', median(repairs.parts_cost)) || ' (median), but its unit price on record is '
    || printf('%.2f', any_value(parts.unit_price)) || '.' as notice
from staging.repair_outcomes as repairs
join marts.sensor_lives as lives using (sensor_id)
join staging.parts as parts using (part_no)
where repairs.action = 'sensor_replaced' and repairs.parts_cost > 0
group by lives.part_no
having median(abs(repairs.parts_cost / parts.unit_price - 1)) > 0.2
order by lives.part_no
