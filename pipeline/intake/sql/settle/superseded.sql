-- grain: one row in force that has not fallen, and a later one of its key is in force, too
create or replace temp table superseded as
select rows.row_id
from intake.rows
semi join repeated using (row_id)
anti join fallen using (row_id)
anti join withdrawn using (row_id)
where not rows.broken and rows.table_name <> 'retract'
qualify row_number() over (
    partition by rows.table_name, rows.row_key order by rows.row_id desc
) > 1
