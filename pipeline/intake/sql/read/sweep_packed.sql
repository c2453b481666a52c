-- grain: one sample; times and readings as whole counts of the session's own step, where that is exact
-- A logger's times and a converter's readings are multiples of a step. Counts of it pack to a
-- fraction of the bytes, and count x step / 1,000,000 gives the very same number back; a session in
-- which one value would not come back the same keeps its numbers as they are.
with micro as (
    select
        *,
        try_cast(round(t_s * 1e6) as bigint) as t_micro,
        try_cast(round(signal * 1e6) as bigint) as signal_micro
    from numbered_samples
),

distinct_micro as (
    select
        session_id,
        bool_and(t_s is null or coalesce(t_micro / 1e6 = t_s, false)) as t_comes_back,
        bool_and(signal is null or coalesce(signal_micro / 1e6 = signal, false)) as signal_comes_back,
        list(distinct t_micro) as t_values,
        list(distinct signal_micro) as signal_values
    from micro
    group by session_id
),

steps as (
    select
        session_id,
        if(t_comes_back, greatest(1, list_reduce(
            t_values, lambda one, other: greatest_common_divisor(one, other), 0::bigint
        )), null) as t_step_micro,
        if(signal_comes_back, greatest(1, list_reduce(
            signal_values, lambda one, other: greatest_common_divisor(one, other), 0::bigint
        )), null) as signal_step_micro
    from distinct_micro
)

select
    micro.session_id, sample_no,
    t_micro // t_step_micro as t_count, t_step_micro, if(t_step_micro is null, t_s, null) as t_exact,
    signal_micro // signal_step_micro as signal_count, signal_step_micro,
    if(signal_step_micro is null, signal, null) as signal_exact,
    signal_b, travel_pct
from micro
left join steps on steps.session_id is not distinct from micro.session_id
order by micro.session_id, sample_no
