-- grain: one measured sweep laid over the travel, and the key that its measures are kept under
select session_id, measure_key
from marts.sweep_contexts
semi join marts.sweep_measures using (session_id)
semi join marts.sweep_profile using (session_id)
order by session_id
