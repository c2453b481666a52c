-- grain: one standing row of a contract table, its cells as handed in
select row_key, cells
from intake.standing
where table_name = $table_name and row_key in (select unnest($keys::varchar[]))
