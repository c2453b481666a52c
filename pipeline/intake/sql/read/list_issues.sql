-- grain: one cell that is blank or wrong, under its row's key
insert into read_issues
select
    cell_issues.line, read_rows.row_key, cell_issues.column_name, cell_issues.value,
    cell_issues.reason, cell_issues.effect, 1
from cell_issues
join read_rows using (line)
order by cell_issues.line, cell_issues.column_name
