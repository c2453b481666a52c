-- grain: one cell that is blank or wrong, and what that does: sets the row aside, or blanks the cell
create or replace temp table cell_issues as
select
    line, name as column_name, value, complaint as reason,
    if(required, 'row', 'cell') as effect
from cells
where canonical is null
union all
select
    doubtful_rows.line, field.name, null, 'blank; a value is required: ' || field.expected, 'row'
from doubtful_rows
cross join contract_fields as field
anti join cells on cells.line = doubtful_rows.line and cells.name = field.name
where field.required and field.present
