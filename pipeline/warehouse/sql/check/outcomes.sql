-- grain: one way in which the accounting of rows does not come out, with how many rows
with counted as (
    select
        (select count(*) from intake.rows) as handed_in,
        (select count(*) from intake.row_outcomes) as with_outcome,
        (
            select count(*)
            from (select row_id from intake.row_outcomes group by row_id having count(*) > 1)
        ) as doubled,
        (
            select count(*)
            from intake.standing
            anti join (
                select row_id
                from intake.row_outcomes
                where outcome in ('new', 'replacing', 'unchanged')
            ) using (row_id)
        ) as standing_unaccepted,
        (
            select count(*)
            from (
                select table_name, row_key
                from intake.standing
                group by table_name, row_key
                having count(*) > 1
            )
        ) as standing_twice,
        (
            select count(*)
            from intake.accounting
            where handed_in <> accepted + set_aside or accepted <> new_rows + replaced + unchanged
        ) as files_apart
)

select
    unnest(['handed in without an outcome', 'with two outcomes', 'in force and not accepted',
        'in force twice', 'files whose counts do not add up']) as what,
    unnest([abs(handed_in - with_outcome), doubled, standing_unaccepted, standing_twice,
        files_apart])::bigint as rows
from counted
