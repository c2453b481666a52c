-- grain: one shop, fleet and duty that some sensor in service has together
select distinct shop_id, shop_name, fleet_id, duty
from marts.worklist
order by all
