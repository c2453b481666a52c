-- grain: one bench test whose readings at rest are not what they were, or are new
create table marts.readings_to_take as
select *
from (from marts.static_readings except from marts.static_readings_before)
order by session_id
