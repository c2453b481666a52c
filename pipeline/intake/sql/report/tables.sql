-- grain: one contract table of one hand-in: its rows by what became of them
select
    table_name,
    sum(handed_in)::bigint as handed_in, sum(accepted)::bigint as accepted,
    sum(new_rows)::bigint as new_rows, sum(replaced)::bigint as replaced,
    sum(unchanged)::bigint as unchanged, sum(set_aside)::bigint as set_aside,
    sum(waiting)::bigint as waiting
from intake.accounting
where hand_in = $hand_in and not (table_name = 'none' and handed_in = 0)
group by table_name
order by table_name
