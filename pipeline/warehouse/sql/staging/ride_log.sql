-- grain: one sample of one recorded ride, as it stands
select
    row_id,
    cells['unit_id'] as unit_id,
    cells['started_at']::timestamptz as started_at,
    cells['t_s']::double as t_s,
    cells['travel_pct']::double as travel_pct
from to_stage
where table_name = 'ride_log'
