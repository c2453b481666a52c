-- grain: one file of one hand-in: handed in = accepted + set aside, accepted = new + replacing + unchanged
create view intake.accounting as
select
    files.hand_in, files.file_no, files.file_name, coalesce(files.table_name, 'none') as table_name,
    coalesce(sum(outcomes.row_count), 0)::bigint as handed_in,
    coalesce(sum(outcomes.row_count) filter (outcome in ('new', 'replacing', 'unchanged')), 0)::bigint as accepted,
    coalesce(sum(outcomes.row_count) filter (outcome = 'new'), 0)::bigint as new_rows,
    coalesce(sum(outcomes.row_count) filter (outcome = 'replacing'), 0)::bigint as replaced,
    coalesce(sum(outcomes.row_count) filter (outcome = 'unchanged'), 0)::bigint as unchanged,
    coalesce(sum(outcomes.row_count) filter (outcome in ('broken', 'waiting')), 0)::bigint as set_aside,
    coalesce(sum(outcomes.row_count) filter (outcome = 'waiting'), 0)::bigint as waiting,
    exists (
        select 1 from intake.read_issues as issues
        where issues.hand_in = files.hand_in and issues.file_no = files.file_no
            and issues.effect = 'file'
    ) as broken_whole
from intake.files
left join intake.row_outcomes as outcomes
    on outcomes.hand_in = files.hand_in and outcomes.file_no = files.file_no
group by files.hand_in, files.file_no, files.file_name, files.table_name
