-- grain: one sample, a session's together, in the order recorded
select session_id, t_s, signal, signal_b, travel_pct
from samples
