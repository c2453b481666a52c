-- grain: one file; whether each session's samples stand together, sessions by name, as loggers write them
with sessions as (
    select session_id, min(file_order) as first_sample, max(file_order) as last_sample, count(*) as samples
    from samples
    group by session_id
),

followed as (
    select
        last_sample - first_sample + 1 = samples as stands_together,
        first_sample > lag(first_sample, 1, 0) over (order by session_id nulls last) as by_name
    from sessions
)

select coalesce(bool_and(stands_together and by_name), true)
from followed
