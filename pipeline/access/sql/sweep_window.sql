-- grain: one sample of one sweep within a window of time, in the order recorded
select sample_no, t_s, signal, signal_b, travel_pct
from (
    select
        sample_no,
        coalesce(t_count * t_step_micro / 1e6, t_exact) as t_s,
        coalesce(signal_count * signal_step_micro / 1e6, signal_exact) as signal,
        signal_b, travel_pct
    from read_parquet($path)
    where session_id = $session_id
)
where t_s between $from_s and $to_s
order by sample_no
