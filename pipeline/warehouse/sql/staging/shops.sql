-- grain: one shop, as it stands
select
    row_id,
    cells['shop_id'] as shop_id,
    cells['name'] as name,
    cells['bay_hours_per_day']::double as bay_hours_per_day
from to_stage
where table_name = 'shops'
