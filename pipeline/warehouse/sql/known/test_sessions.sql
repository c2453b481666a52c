-- grain: one bench test up to the day
create table staging.test_sessions as
select tests.*
from built_staging.test_sessions as tests
semi join staging.sensors using (sensor_id)
where tests.tested_on <= $as_of
