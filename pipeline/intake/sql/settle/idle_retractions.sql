-- grain: one retraction of a key that was never handed in before it
insert into fates
select
    retractions.row_id, 'broken', 'key', retractions.row_key,
    if(
        exists (from contract_tables where contract_tables.table_name = retractions.table_name),
        'no row of ' || retractions.table_name || ' with this key was handed in before; expected '
            || 'the key as set_aside.csv writes it, the parts of a longer key with / between them',
        'there is no table ' || retractions.table_name || '; expected one of '
            || (select string_agg(table_name, ', ') from contract_tables)
    )
from retractions
where not exists (
    select 1
    from intake.rows as keyless
    where keyless.row_key is null
        and retractions.row_key = keyless.file_name || ':' || keyless.line
)
and not exists (
    select 1
    from intake.rows as earlier
    where earlier.table_name = retractions.table_name
        and earlier.row_key = retractions.row_key
        and earlier.row_id < retractions.row_id
)
