-- grain: one standing row of a contract table, its cells as handed in
select row_key, cells
from intake.standing
where table_name = $table_name
order by row_key
