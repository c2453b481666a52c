-- grain: one record that is not of the header's shape, counted as a broken row
insert into read_rows
select file_line, row_key, '', map(names, texts), 1, true
from reject_lines
order by file_line
