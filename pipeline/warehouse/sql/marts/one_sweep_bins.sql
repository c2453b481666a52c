-- grain: one travel bin of one measured sweep to be judged by itself
select
    session_id, bin_from_pct, pass_count, dropout_count, smoothness_pct, shortest_visible_ms
from marts.sweep_profile
semi join unjudged_sweeps using (session_id)
order by session_id, bin_from_pct
