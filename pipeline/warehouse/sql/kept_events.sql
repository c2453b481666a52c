-- grain: one visit as it stands in calendars
from read_parquet($path)
order by on_day, uid
