-- grain: one session's sweep in one file; its hash is of every sample in order
insert into read_rows
select
    min(file_order) + 1,
    session_id,
    sum(hash(sample_no, t_s, signal, signal_b, travel_pct)::hugeint)::varchar,
    if(session_id is null, map {}::map(varchar, varchar), map {'session_id': session_id}),
    count(*),
    $wrong_type or session_id is null
        or not regexp_full_match(session_id, '[A-Za-z0-9._-]{1,64}')
from numbered_samples
group by session_id
order by 1
