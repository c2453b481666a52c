-- grain: one session of one file, and the row of its first sample; rows of a session stand together
create or replace temp table first_samples as
select session_id, min(rowid) as first_row
from samples
group by session_id
