-- grain: the published records; counts for the head of the worklist
select
    count(*) as sensors,
    count(distinct unit_id) as bikes,
    count(*) filter (action = 'replace') as replace,
    count(*) filter (action = 'test') as test,
    count(*) filter (action = 'not_enough_known') as not_enough_known,
    count(*) filter (action = 'leave') as leave,
    (select count(*) from marts.tests) as tests,
    (select count(*) from marts.repairs where event is not null) as defects,
    (select count(*) from marts.repairs where event = 'road_failure') as road_failures,
    (select count(*) from intake.set_aside) as set_aside
from marts.worklist
