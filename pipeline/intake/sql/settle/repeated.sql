-- grain: one row whose key others may have, too; a few more of like digest do no harm
create or replace temp table repeated as
with doubled as (
    select hash(table_name, row_key) as key_digest
    from intake.rows
    group by key_digest
    having count(*) > 1
)

select rows.row_id
from intake.rows
semi join doubled on doubled.key_digest = hash(rows.table_name, rows.row_key)
