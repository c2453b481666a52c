-- grain: one sample; none yet
create or replace temp table numbered_samples (
    session_id varchar, sample_no integer, t_s double, signal double, signal_b double,
    travel_pct double, file_order bigint
)
