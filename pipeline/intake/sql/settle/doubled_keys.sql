-- grain: one row whose key stands in its file more than once with different values
insert into fates
with alike as (
    select row_id, hand_in, file_no, table_name, row_key, line, row_hash
    from intake.rows
    semi join repeated using (row_id)
    where row_key is not null and table_name <> 'sweeps'
),

doubled as (
    select
        hand_in, file_no, row_key,
        count(*) as times,
        string_agg(line::varchar, ', ' order by line) as lines
    from alike
    group by hand_in, file_no, row_key
    having count(distinct row_hash) > 1
)

select
    alike.row_id, 'broken', contract_tables.key_column, alike.row_key,
    'the same key stands ' || doubled.times || ' times in this file with different values (lines '
        || doubled.lines || '); expected one: keep the right one and hand it in again'
from alike
join doubled using (hand_in, file_no, row_key)
join contract_tables using (table_name)
