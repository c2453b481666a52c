-- grain: one window in which one bike can be spared
select unit_id, free_from, free_to
from staging.calendar
order by unit_id, free_from, free_to
