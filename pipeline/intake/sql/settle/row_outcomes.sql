-- grain: one row ever handed in: new, replacing, unchanged, broken or waiting
create table intake.row_outcomes as
with fallen as (
    select row_id, if(bool_or(fate = 'broken'), 'broken', 'waiting') as fate
    from fates
    group by row_id
),

accepted as (
    select
        rows.row_id, rows.row_hash,
        lag(rows.row_hash) over later_same_key as earlier_hash,
        lag(rows.row_id) over later_same_key as earlier_row_id
    from intake.rows
    left join fallen using (row_id)
    where not rows.broken and fallen.row_id is null
    window later_same_key as (partition by rows.table_name, rows.row_key order by rows.row_id)
)

select
    rows.row_id, rows.hand_in, rows.file_no, rows.file_name, rows.table_name, rows.row_key,
    rows.row_count,
    case
        when rows.broken then 'broken'
        when fallen.fate is not null then fallen.fate
        when accepted.earlier_row_id is null then 'new'
        when exists (
            select 1 from retractions
            where retractions.table_name = rows.table_name
                and retractions.row_key = rows.row_key
                and retractions.row_id between accepted.earlier_row_id and rows.row_id
        ) then 'new'
        when accepted.earlier_hash = accepted.row_hash then 'unchanged'
        else 'replacing'
    end as outcome
from intake.rows
left join fallen using (row_id)
left join accepted using (row_id)
