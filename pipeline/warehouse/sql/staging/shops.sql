-- grain: one shop, as it stands
create table staging.shops as
select
    row_id,
    cells['shop_id'] as shop_id,
    cells['name'] as name,
    cells['bay_hours_per_day']::double as bay_hours_per_day
from intake.standing
where table_name = 'shops'
