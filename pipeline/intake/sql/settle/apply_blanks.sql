-- grain: one row, with the cells blanked that contradict its history
update intake.rows
set cells = map_from_entries(list_filter(
    map_entries(rows.cells), lambda entry: not list_contains(wrong.column_names, entry.key)
))
from (select row_id, list(column_name) as column_names from blanks group by row_id) as wrong
where wrong.row_id = rows.row_id
