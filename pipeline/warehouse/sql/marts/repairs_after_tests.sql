-- grain: one test and one repair of the same sensor that came after it
-- A repair came after the tests of earlier days and after those of its own day, save an after-repair
-- test; and after the test that it names as having led to it.
create table marts.repairs_after_tests as
select
    tests.session_id, tests.sensor_id, tests.tested_at, tests.defect_found,
    repairs.outcome_id, repairs.closed_on,
    coalesce(repairs.session_id = tests.session_id, false) as named,
    repairs.session_id is not null as names_a_test
from marts.tests as tests
join staging.repair_outcomes as repairs using (sensor_id)
where repairs.session_id = tests.session_id
    or tests.tested_on < repairs.closed_on
    or (tests.tested_on = repairs.closed_on and tests.reason is distinct from 'after_repair')
