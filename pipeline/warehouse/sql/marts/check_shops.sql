-- grain: one shop
select shop_id, coalesce(name, shop_id) as shop_name, bay_hours_per_day
from staging.shops
order by shop_id
