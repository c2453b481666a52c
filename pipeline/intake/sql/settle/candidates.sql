-- grain: one row that has not fallen; "standing" marks the latest of its key that is not withdrawn
create or replace temp table candidates as
with sound as (
    select rows.row_id, rows.table_name, rows.row_key, withdrawn.row_id is null as in_force
    from intake.rows
    left join withdrawn using (row_id)
    where not rows.broken
        and rows.table_name <> 'retract'
        and not exists (select 1 from fates where fates.row_id = rows.row_id)
),

-- the cells come along afterwards: sorting them with their keys takes longest
ranked as (
    select
        row_id, in_force,
        in_force and row_number() over (
            partition by table_name, row_key, in_force order by row_id desc
        ) = 1 as standing
    from sound
)

select rows.row_id, rows.table_name, rows.row_key, rows.cells, ranked.in_force, ranked.standing
from intake.rows
join ranked using (row_id)
