-- grain: one row that has not fallen; "standing" marks the latest of its key that is not withdrawn
-- Read where it lies, each rule the few cells it asks for: a copy of all cells would be the largest
-- of all that a build holds in memory.
create or replace temp view candidates as
select
    rows.row_id, rows.table_name, rows.row_key, rows.cells,
    withdrawn.row_id is null and superseded.row_id is null as standing
from intake.rows
anti join fallen using (row_id)
left join withdrawn using (row_id)
left join superseded using (row_id)
where not rows.broken and rows.table_name <> 'retract'
