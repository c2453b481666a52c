-- grain: one line of a sweep file that is not of the header's shape, counted as broken
insert into listed_rows
select line, null, '', [null], 1, true, false
from reject_errors
group by line
order by line
