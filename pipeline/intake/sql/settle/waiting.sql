-- grain: one reference of one row to a record that is not there
insert into fates
with referring as (
    select
        candidates.row_id, refs.column_name, refs.parent_table,
        candidates.cells[refs.column_name] as parent_key
    from candidates
    join contract_references as refs using (table_name)
    where candidates.cells[refs.column_name] is not null
),

parents as (
    select table_name as parent_table, row_key as parent_key
    from candidates
    where standing and table_name in (select parent_table from contract_references)
),

orphaned as (
    select *
    from referring
    anti join parents using (parent_table, parent_key)
),

taken_back as (
    select retractions.table_name, retractions.row_key, any_value(rows.file_name) as file_name
    from retractions
    join intake.rows using (row_id)
    group by retractions.table_name, retractions.row_key
)

select
    orphaned.row_id, 'waiting', orphaned.column_name, orphaned.parent_key,
    'waiting for ' || orphaned.parent_table || ' ' || orphaned.parent_key
        || coalesce(' (withdrawn by ' || taken_back.file_name || ')', '')
        || if(rows.table_name = 'sweeps', printf(' (%d samples)', rows.row_count), '')
from orphaned
join intake.rows using (row_id)
left join taken_back
    on taken_back.table_name = orphaned.parent_table
    and taken_back.row_key = orphaned.parent_key
