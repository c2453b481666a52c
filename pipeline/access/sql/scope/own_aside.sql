-- grain: one row that is the asker's and of which something is set aside
create table scope.own_aside as
select row_id
from scope.own_rows
where row_id in (select row_id from whole.intake.set_aside)
