-- grain: one reference of one row to a record that is not there
insert into fates
with referring as (
    select
        candidates.row_id, refs.column_name, refs.parent_table,
        candidates.cells[refs.column_name] as parent_key
    from candidates
    join contract_references as refs using (table_name)
    where candidates.cells[refs.column_name] is not null
)

select
    referring.row_id, 'waiting', referring.column_name, referring.parent_key,
    'waiting for ' || referring.parent_table || ' ' || referring.parent_key
from referring
where not exists (
    select 1
    from candidates as parent
    where parent.standing
        and parent.table_name = referring.parent_table
        and parent.row_key = referring.parent_key
)
