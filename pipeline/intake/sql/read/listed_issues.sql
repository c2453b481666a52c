-- grain: one thing wrong with a cell, a row or the whole file, notices left out
select line, row_key as key, column_name as "column", value, reason, effect
from read_issues
where effect <> 'notice'
order by line, column_name
