-- grain: one repair closed by the day
create table staging.repair_outcomes as
select repairs.*
from built_staging.repair_outcomes as repairs
semi join staging.sensors using (sensor_id)
where repairs.closed_on <= $as_of
