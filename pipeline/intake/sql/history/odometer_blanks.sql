-- grain: one optional reading that contradicts the others
insert into blanks
select row_id, column_name, printf('%.0f', km), reason
from contradictions
where column_name <> 'odometer_km'
