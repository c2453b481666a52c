-- grain: one standing sweep and its place among all by their sessions, for the time of one build
create temporary table sweep_order as
select measure_key, row_number() over (order by session_id)::integer as place
from marts.sweep_contexts
