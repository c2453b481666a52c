-- grain: one standing sweep whose results are not carried over, and its place by its session
create temporary table sweep_order as
select measure_key, row_number() over (order by session_id)::integer as place
from marts.sweep_contexts
anti join marts.sweep_contexts_before using (session_id)
