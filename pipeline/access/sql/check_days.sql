-- grain: one shop and working day
from marts.check_days
order by shop_name, shop_id, on_day
