-- grain: one contract table of one hand-in, the latest first: its rows by what became of them
select
    hand_in, table_name, count(*)::bigint as file_count,
    any_value(file_name order by file_no) as first_file,
    sum(handed_in)::bigint as handed_in, sum(accepted)::bigint as accepted,
    sum(new_rows)::bigint as new_rows, sum(replaced)::bigint as replaced,
    sum(unchanged)::bigint as unchanged, sum(set_aside)::bigint as set_aside,
    sum(waiting)::bigint as waiting,
    count(*) filter (broken_whole)::bigint as whole_files
from intake.accounting
group by hand_in, table_name
order by hand_in desc, table_name
