-- grain: one thing that stands between a handed-in value and the records, of the first so many
select
    file_name as file, line, table_name as "table", row_key as key, column_name as "column",
    value, reason
from intake.set_aside
order by hand_in, file_no, line, column_name
limit $most
