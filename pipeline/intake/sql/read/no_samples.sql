-- grain: one sample; none yet
create or replace temp table samples (
    session_id varchar, t_s double, signal double, signal_b double, travel_pct double, file_order bigint
)
