-- grain: one row whose key stands in its file more than once with different values
insert into fates
with doubled as (
    select
        hand_in, file_no, row_key,
        count(*) as times,
        string_agg(line::varchar, ', ' order by line) as lines
    from intake.rows
    where row_key is not null and table_name <> 'sweeps'
    group by hand_in, file_no, row_key
    having count(distinct row_hash) > 1
)

select
    rows.row_id, 'broken', contract_tables.key_column, rows.row_key,
    'the same key stands ' || doubled.times || ' times in this file with different values (lines '
        || doubled.lines || '); expected one: keep the right one and hand it in again'
from intake.rows
join doubled using (hand_in, file_no, row_key)
join contract_tables using (table_name)
