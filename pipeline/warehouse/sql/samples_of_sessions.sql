-- grain: one sample of one of the sessions asked for, in the order recorded
select
    session_id, sample_no,
    coalesce(t_count * t_step_micro / 1e6, t_exact) as t_s,
    coalesce(signal_count * signal_step_micro / 1e6, signal_exact) as signal,
    signal_b, travel_pct
from read_parquet($path)
where session_id in (select unnest($sessions::varchar[]))
order by session_id, sample_no
