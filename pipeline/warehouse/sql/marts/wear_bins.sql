-- grain: one travel bin of one measured sweep of a sensor that has a track
select
    profile.session_id, profile.bin_from_pct, profile.pass_count, profile.dropout_count,
    profile.smoothness_pct, profile.shortest_visible_ms
from marts.sweep_profile as profile
join marts.life_tests as tests using (session_id)
where coalesce(tests.kind, 'potentiometer') = 'potentiometer'
    and tests.sensor_age_km is not null
    and profile.session_id in (select session_id from marts.sweep_measures)
