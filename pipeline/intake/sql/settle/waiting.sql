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

taken_back as (
    select retractions.table_name, retractions.row_key, any_value(rows.file_name) as file_name
    from retractions
    join intake.rows using (row_id)
    group by retractions.table_name, retractions.row_key
)

select
    referring.row_id, 'waiting', referring.column_name, referring.parent_key,
    'waiting for ' || referring.parent_table || ' ' || referring.parent_key
        || coalesce(' (withdrawn by ' || taken_back.file_name || ')', '')
        || if(rows.table_name = 'sweeps', printf(' (%d samples)', rows.row_count), '')
from referring
join intake.rows using (row_id)
left join taken_back
    on taken_back.table_name = referring.parent_table
    and taken_back.row_key = referring.parent_key
where not exists (
    select 1
    from candidates as parent
    where parent.standing
        and parent.table_name = referring.parent_table
        and parent.row_key = referring.parent_key
)
