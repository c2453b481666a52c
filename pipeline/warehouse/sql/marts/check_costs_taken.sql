-- grain: one sensor in service and one day ahead on which its bike might come in
select sensor_id, unit_id, shop_id, fleet_id, part_no, action, day, cost, cost_without, part_needed
from marts.check_costs
order by unit_id, sensor_id, day
