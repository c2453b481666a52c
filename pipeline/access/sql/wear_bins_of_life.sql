-- grain: one travel bin of one mapped test of the life asked for
select
    session_id, bin_from_pct, pass_count, dropout_count, smoothness_pct, shortest_visible_ms
from marts.sweep_profile
semi join (from marts.wear_bands where life_id = $life_id and band_no = 1) using (session_id)
