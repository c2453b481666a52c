-- grain: one measure of the session's volt sweep, against the good range of its part number
select
    named.reading, named.value, bands.high, bands.sensor_count, bands.more_needed, bands.method
from marts.sweep_measures as measures
join marts.tests as tests using (session_id)
cross join lateral (values
    (1, 'smoothness_pct', measures.smoothness_pct),
    (2, 'linearity_independent_pct', measures.linearity_independent_pct),
    (3, 'linearity_terminal_pct', measures.linearity_terminal_pct),
    (4, 'hysteresis_pct', measures.hysteresis_pct)
) as named(place, reading, value)
left join marts.bands
    on bands.part_no = tests.part_no and bands.reading = named.reading
where measures.session_id = $session_id and tests.sweep_channel = 'volt'
order by named.place
