-- grain: one session whose samples are set aside since a required column holds no number
insert into read_issues
select line, row_key, $column, null, $reason || ' (' || row_count || ' samples)', 'row', row_count
from read_rows
