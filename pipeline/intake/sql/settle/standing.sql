-- grain: one row in force: the latest accepted of its key, not withdrawn
create table intake.standing as
select row_id, table_name, row_key, cells
from candidates
where standing
