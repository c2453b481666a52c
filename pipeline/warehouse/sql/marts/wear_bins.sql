-- grain: one travel bin of one measured sweep that is to be mapped
select
    mapped.test_no, bin_from_pct, pass_count, dropout_count, smoothness_pct, shortest_visible_ms
from marts.sweep_profile
join mapped_tests as mapped using (session_id)
