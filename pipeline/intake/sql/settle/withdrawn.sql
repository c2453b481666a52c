-- grain: one row withdrawn by a later retraction
create or replace temp table withdrawn as
select distinct rows.row_id
from intake.rows
join retractions using (table_name, row_key)
where retractions.row_id > rows.row_id
