-- grain: one part number and how it is bought
select part_no, unit_price, pack_size, lead_time_days, replaced_by, supply_ends_on
from staging.parts
order by part_no
