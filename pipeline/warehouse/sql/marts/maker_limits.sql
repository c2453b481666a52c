-- grain: one part number that has been tested, with its maker's limits
select distinct
    part_no, supply_nominal_v, maker_closed_v_low, maker_closed_v_high,
    maker_open_v_low, maker_open_v_high
from marts.static_readings
order by part_no
