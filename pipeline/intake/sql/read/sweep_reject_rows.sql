-- grain: one line of a sweep file that is not of the header's shape, counted as broken
insert into read_rows
select line, null, '', map {}, 1, true
from reject_errors
group by line
order by line
