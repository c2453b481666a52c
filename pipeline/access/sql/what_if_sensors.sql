-- grain: one sensor in service, with the advice of the build
select sensor_id, unit_id, label, shop_id, shop_name, part_no, defect_now, action as action_as_built
from marts.worklist
order by urgency desc, sensor_id
