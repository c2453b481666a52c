-- grain: one standing sweep without a kept measurement
select contexts.*
from marts.sweep_contexts as contexts
anti join kept_measures using (measure_key)
order by samples_name, session_id
