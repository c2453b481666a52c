-- grain: one travel bin of one measured sweep that is to be laid out
select
    asked.test_no, bin_from_pct, pass_count, dropout_count, smoothness_pct, shortest_visible_ms
from marts.sweep_profile
join laid_out_tests as asked using (session_id)
where dropout_count >= $least_dropouts
