-- grain: one sample of one session as just read, in the order recorded
select session_id, sample_no, t_s, signal, signal_b, travel_pct
from numbered_samples
where session_id = $session_id
order by sample_no
