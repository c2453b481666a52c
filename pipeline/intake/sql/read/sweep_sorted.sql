-- grain: one sample, its session's together, in the order recorded
create or replace temp table samples as
from samples
order by session_id nulls last, file_order
