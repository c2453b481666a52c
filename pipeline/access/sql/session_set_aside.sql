-- grain: one thing set aside or blanked that speaks of one test
select
    file_name as file, line, table_name as "table", row_key as key, column_name as "column",
    value, reason
from intake.set_aside
where (table_name in ('test_sessions', 'sweeps') and row_key = $session_id)
    or (table_name = 'repair_outcomes' and value = $session_id)
order by hand_in, file_no, line, column_name
