-- grain: one cell of the travel of one sound sensor: the median over its tests, volt sweeps only
select
    tests.part_no, tests.sensor_id, profile.bin_from_pct, profile.bin_to_pct,
    median(profile.smoothness_pct) as smoothness_pct
from marts.good_tests as good
join marts.tests as tests using (session_id)
join marts.sweep_measures as measures using (session_id)
join marts.sweep_profile as profile using (session_id)
where tests.sweep_channel = 'volt'
    and measures.conclusion in ('nothing_seen', 'rough')
    and isfinite(profile.smoothness_pct)
group by tests.part_no, tests.sensor_id, profile.bin_from_pct, profile.bin_to_pct
order by tests.part_no, tests.sensor_id, profile.bin_from_pct
