-- grain: one shop: how good its plan is
from marts.check_about
order by shop_name, shop_id
