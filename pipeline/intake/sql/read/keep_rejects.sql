-- grain: one record that is not of the header's shape, counted as a broken row
insert into listed_rows
select
    file_line, row_key, '',
    [map(names, texts)[name] for name in (select names from read_columns)],
    1, true, false
from reject_lines
order by file_line
