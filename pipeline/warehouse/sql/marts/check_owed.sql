-- grain: one sensor in service whose advice is to work on it now
select sensor_id
from marts.planned_work
where work is not null and work_days = 0
order by sensor_id
