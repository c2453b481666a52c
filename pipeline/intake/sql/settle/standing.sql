-- grain: one row in force: the latest accepted of its key, not withdrawn
create view intake.standing as
select rows.row_id, rows.table_name, rows.row_key, rows.cells
from intake.rows
anti join intake.out_of_force using (row_id)
