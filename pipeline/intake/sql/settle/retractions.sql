-- grain: one retraction of one key
create or replace temp table retractions as
select rows.row_id, rows.cells['table'] as table_name, rows.cells['key'] as row_key
from intake.rows
where rows.table_name = 'retract' and not rows.broken
    and not exists (select 1 from fates where fates.row_id = rows.row_id)
