-- grain: one line of a sweep file that is not of the header's shape
insert into read_issues
select
    line, null, null, left(any_value(csv_line), 500),
    'this sample is not of the header''s shape; expected one value for each column', 'row', 1
from reject_errors
group by line
order by line
