-- grain: one thing set aside or blanked that speaks of one bike
select
    set_aside.file_name as file, set_aside.line, set_aside.table_name as "table",
    set_aside.row_key as key, set_aside.column_name as "column", set_aside.value, set_aside.reason
from intake.set_aside
semi join (select row_id from marts.waiting where unit_id = $unit_id) as of_bike using (row_id)
order by hand_in, file_no, line, column_name
