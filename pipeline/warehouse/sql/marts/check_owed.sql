-- grain: one sensor in service whose advice is to work on it now, and why
select sensor_id, owed_for
from marts.planned_work
where owed_for is not null
order by sensor_id
