-- grain: one travel bin of one measured sweep that is to be mapped
select
    session_id, bin_from_pct, pass_count, dropout_count, smoothness_pct, shortest_visible_ms
from marts.sweep_profile
semi join mapped_tests using (session_id)
