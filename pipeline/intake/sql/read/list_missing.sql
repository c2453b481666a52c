-- grain: one row of a file in which a required column is missing
insert into read_issues
select line, row_key, $column, null, 'the column is missing; a value is required in it', 'row', 1
from read_rows
order by line
