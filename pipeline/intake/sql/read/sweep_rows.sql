-- grain: one session's sweep in one file; its hash is of every sample in order
insert into listed_rows
with rejected as (
    -- how many samples stand before each rejected line
    select line - row_number() over (order by line) - $first_line + 1 as samples_before
    from (select distinct line from reject_errors)
),

sessions as (
    select
        session_id, min(file_order) as first_sample, count(*) as samples,
        sum(hash(sample_no, t_s, signal, signal_b, travel_pct)::hugeint)::varchar as samples_hash
    from numbered_samples
    group by session_id
)

select
    first_sample + $first_line - 1
        + (select count(*) from rejected where samples_before < first_sample),
    session_id,
    samples_hash,
    [session_id],
    samples,
    $wrong_type or session_id is null
        or not regexp_full_match(session_id, '[A-Za-z0-9._-]{1,64}'),
    false
from sessions
order by 1
