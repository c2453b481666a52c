-- grain: one row ever handed in: new, replacing, unchanged, broken or waiting
create table intake.row_outcomes as
with fates_by_row as (
    select row_id, if(bool_or(fate = 'broken'), 'broken', 'waiting') as fate
    from fates
    group by row_id
),

accepted as (
    select
        rows.row_id, rows.table_name, rows.row_key, rows.row_hash,
        lag(rows.row_hash) over later_same_key as earlier_hash,
        lag(rows.row_id) over later_same_key as earlier_row_id
    from intake.rows
    semi join repeated using (row_id)
    anti join fates_by_row using (row_id)
    where not rows.broken
    window later_same_key as (partition by rows.table_name, rows.row_key order by rows.row_id)
),

-- all others are the first of their key
following as (
    select
        row_id,
        case
            when exists (
                select 1 from retractions
                where retractions.table_name = accepted.table_name
                    and retractions.row_key = accepted.row_key
                    and retractions.row_id between accepted.earlier_row_id and accepted.row_id
            ) then 'new'
            when earlier_hash = row_hash then 'unchanged'
            else 'replacing'
        end as outcome
    from accepted
    where earlier_row_id is not null
)

select
    rows.row_id, rows.hand_in, rows.file_no, rows.file_name, rows.table_name, rows.row_key,
    rows.row_count,
    case when rows.broken then 'broken' else coalesce(fate, following.outcome, 'new') end as outcome
from intake.rows
left join fates_by_row using (row_id)
left join following using (row_id)
