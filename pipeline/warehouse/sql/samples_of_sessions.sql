-- grain: one sample of one of the sessions asked for, in the order recorded
select session_id, sample_no, t_s, signal, signal_b, travel_pct
from read_parquet($path)
where session_id in (select unnest($sessions::varchar[]))
order by session_id, sample_no
