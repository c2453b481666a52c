-- grain: one part number said to replace itself, or a repair said to be its own comeback
insert into blanks
select row_id, rule.column_name, row_key, 'the row names itself; expected another one'
from candidates
join (values ('parts', 'replaced_by'), ('repair_outcomes', 'comeback_of'))
    as rule(table_name, column_name) using (table_name)
where candidates.cells[rule.column_name] = candidates.row_key
