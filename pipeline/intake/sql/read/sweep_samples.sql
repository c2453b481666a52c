-- grain: one sample of one session, numbered in the order recorded
create or replace temp table numbered_samples as
with ordered as (
    select *, row_number() over () as file_order
    from samples
)

select
    session_id,
    (row_number() over (partition by session_id order by file_order) - 1)::integer as sample_no,
    t_s, signal, signal_b, travel_pct,
    file_order
from ordered
order by session_id, file_order
