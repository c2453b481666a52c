-- grain: the file of records: tests passed by the technician whose sweep shows drop-outs
select count(*) || ' tests were passed although the recorded sweep shows drop-outs, for example '
    || list_aggregate(list_slice(list(session_id order by tested_at desc, session_id), 1, 5), 'string_agg', ', ') || '.' as notice
from marts.tests
where verdict = 'pass' and conclusion = 'dropouts_seen'
having count(*) > 0
