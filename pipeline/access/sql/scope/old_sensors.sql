-- grain: one sensor known from the asker's own tests alone, its bike being another's now
create table scope.old_sensors as
select tests.sensor_id, max(coalesce(spans.to_on, tests.tested_on)) as left_on
from scope.tests as tests
left join scope.spans as spans on spans.unit_id = tests.unit_id
where tests.sensor_id not in (select sensor_id from scope.sensors)
group by tests.sensor_id
