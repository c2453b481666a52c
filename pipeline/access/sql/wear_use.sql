-- grain: one travel bin of the bike asked for: logged use, and its sensor's and its duty's wear
select
    shares.sensor_id, shares.bin_from_pct, shares.share as sensor_share,
    patterns.share as like_share, patterns.share_low as like_low, patterns.share_high as like_high,
    patterns.duty as like_duty, patterns.n_seen as like_sensors,
    usage.dwell, usage.sliding, usage.logged_s, usage.gap_s, usage.moved_pct, usage.rate_hz
from marts.wear_shares as shares
join marts.sensor_lives as lives using (sensor_id)
join marts.bikes as bikes on bikes.unit_id = lives.unit_id
join marts.wear_patterns as patterns
    on patterns.bin_from_pct = shares.bin_from_pct
    and patterns.duty = if(
        bikes.duty in (select known.duty from marts.wear_patterns as known), bikes.duty, 'all'
    )
left join marts.wear_usage as usage
    on usage.unit_id = lives.unit_id and usage.bin_from_pct = shares.bin_from_pct
where lives.unit_id = $unit_id
order by shares.sensor_id, shares.bin_from_pct
