-- grain: one sample of one session, numbered in the order recorded
create or replace temp view numbered_samples as
select
    samples.session_id,
    (samples.rowid - first_samples.first_row)::integer as sample_no,
    t_s, signal, signal_b, travel_pct,
    file_order
from samples
join first_samples on first_samples.session_id is not distinct from samples.session_id
