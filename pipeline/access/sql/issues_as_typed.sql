-- grain: one thing that the reader has against the file just read
select line, column_name, reason
from read_issues
order by line nulls first, column_name
