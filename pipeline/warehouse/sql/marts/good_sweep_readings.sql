-- grain: one sweep measure of one sound sensor, of one part of these: the median over its tests, volt sweeps only
-- (in ohms contact resistance adds in full, so that the two never share a range)
with measured as (
    select tests.part_no, tests.sensor_id, named.reading, named.value
    from marts.good_tests as good
    join marts.tests as tests using (session_id)
    join marts.sweep_measures as measures using (session_id)
    cross join lateral (values
        ('smoothness_pct', measures.smoothness_pct),
        ('linearity_independent_pct', measures.linearity_independent_pct),
        ('linearity_terminal_pct', measures.linearity_terminal_pct),
        ('hysteresis_pct', measures.hysteresis_pct)
    ) as named(reading, value)
    where tests.sweep_channel = 'volt'
        and measures.conclusion in ('nothing_seen', 'rough')
        and isfinite(named.value)
        and hash(tests.sensor_id) % $parts = $part
)

select part_no, sensor_id, reading, median(value) as value
from measured
group by part_no, sensor_id, reading
