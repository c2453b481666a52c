-- grain: one row whose required odometer reading contradicts the others
insert into fates
select row_id, 'broken', column_name, printf('%.0f', km), reason
from contradictions
where column_name = 'odometer_km'
