-- grain: one logged throttle position of one ride
select unit_id, strftime(started_at, '%Y-%m-%dT%H:%M:%SZ') as started_at, t_s, travel_pct
from staging.ride_log
order by unit_id, started_at, t_s
