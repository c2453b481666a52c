-- grain: one bike that got no day, the dearest to wait first
from marts.check_unplaced
order by waiting_costs desc nulls last, label, unit_id
