-- grain: all rows that waited before: how many of them are accepted by now
select count(*) as came_in
from intake.row_outcomes
where outcome in ('new', 'replacing', 'unchanged')
    and row_id in (select unnest($waited::bigint[]))
