-- grain: one sweep of a run of sound sensors, by their places: its measures, volt sweeps only
-- (in ohms contact resistance adds in full, so that the two never share a range)
select
    good.sensor_no, measures.smoothness_pct, measures.linearity_independent_pct,
    measures.linearity_terminal_pct, measures.hysteresis_pct
from good_numbered as good
join marts.sweep_measures as measures using (session_id)
where good.sweep_channel = 'volt' and measures.conclusion in ('nothing_seen', 'rough')
    and good.sensor_no >= $first_sensor and good.sensor_no < $end_sensor
