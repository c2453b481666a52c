-- grain: one standing row of parts or of a bike among the keys asked for, its cells as handed in
select table_name, row_key, cells
from whole.intake.standing
where table_name in ('parts', 'units') and row_key in (select unnest($keys::varchar[]))
