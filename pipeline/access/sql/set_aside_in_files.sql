-- grain: one thing that stands between a handed-in value and the records, in a row not kept by cells
select
    aside.file_name as file, aside.line, aside.table_name as "table", aside.row_key as key,
    aside.column_name as "column", aside.value, aside.reason
from intake.set_aside as aside
left join intake.rows as rows on rows.row_id = aside.row_id
where rows.row_id is null
    or coalesce(cardinality(rows.cells), 0) = 0
    or list_contains($not_by_row, aside.table_name)
order by aside.hand_in, aside.file_no, aside.line, aside.column_name
