-- grain: one visit as it stands in calendars
from marts.check_events
order by on_day, uid
