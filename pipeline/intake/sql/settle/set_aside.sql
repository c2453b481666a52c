-- grain: one thing that still stands between a handed-in value and the records
create table intake.set_aside as
with listed as (
    select
        issues.hand_in, issues.file_no, issues.file_name, issues.table_name, issues.line,
        issues.row_key, issues.column_name, issues.value, issues.reason, issues.effect,
        issues.row_count, rows.row_id
    from intake.read_issues as issues
    left join intake.rows
        on rows.hand_in = issues.hand_in and rows.file_no = issues.file_no
        and rows.line = issues.line and issues.effect in ('row', 'cell')
    where issues.effect <> 'notice'
    union all
    select
        rows.hand_in, rows.file_no, rows.file_name, rows.table_name, rows.line, rows.row_key,
        fates.column_name, fates.value, fates.reason,
        if(fates.fate = 'waiting', 'waiting', 'row'), rows.row_count, rows.row_id
    from fates
    join intake.rows using (row_id)
    union all
    select
        rows.hand_in, rows.file_no, rows.file_name, rows.table_name, rows.line, rows.row_key,
        blanks.column_name, blanks.value, blanks.reason, 'cell', rows.row_count, rows.row_id
    from blanks
    join intake.rows using (row_id)
)

select listed.*
from listed
-- a later row of the same key settles it
where not exists (
    select 1
    from intake.rows as later
    where later.table_name = listed.table_name
        and later.row_key = listed.row_key
        and (later.hand_in, later.file_no) > (listed.hand_in, listed.file_no)
)
-- a file set aside whole is settled by a later one of its name that could be read
and not (listed.effect = 'file' and exists (
    select 1
    from intake.files as later
    where later.file_name = listed.file_name and later.hand_in > listed.hand_in
        and not exists (
            select 1 from intake.read_issues as issues
            where issues.hand_in = later.hand_in and issues.file_no = later.file_no
                and issues.effect = 'file'
        )
))
-- a row without a key goes by its place: it is withdrawn as file:line
and not exists (
    select 1 from retractions
    where listed.row_key is null
        and retractions.row_key = listed.file_name || ':' || listed.line
)
and not exists (select 1 from withdrawn where withdrawn.row_id = listed.row_id)
order by listed.hand_in, listed.file_no, listed.line, listed.column_name
