-- grain: one planned visit of a bike, the earliest first
from marts.check_visits
order by on_day, shop_name, label, unit_id
