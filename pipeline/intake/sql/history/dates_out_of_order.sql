-- grain: one optional date that lies before the one it must follow
insert into blanks
select
    candidates.row_id, rule.column_name, candidates.cells[rule.column_name],
    'before ' || rule.earlier || ' ' || candidates.cells[rule.earlier]
        || '; expected that day or later'
from candidates
join (values
    ('units', 'in_service_on', 'out_of_service_on'),
    ('sensors', 'fitted_on', 'removed_on'),
    ('sensors', 'fitted_on', 'first_seen_on')
) as rule(table_name, earlier, column_name) using (table_name)
where candidates.cells[rule.column_name] < candidates.cells[rule.earlier]
