-- grain: one test of a sensor later shown sound: 5,000 km on without a confirmed defect, and a test or repair beyond
create table marts.good_tests as
select tests.session_id, tests.sensor_id
from marts.tests as tests
where tests.defect_found = 'without'
    and (
        exists (
            select 1 from staging.test_sessions as later
            where later.sensor_id = tests.sensor_id
                and later.odometer_km >= tests.odometer_km + $proven_km
        )
        or exists (
            select 1 from staging.repair_outcomes as later
            where later.sensor_id = tests.sensor_id
                and later.odometer_km >= tests.odometer_km + $proven_km
        )
    )
    and not exists (
        select 1 from marts.defects
        where defects.sensor_id = tests.sensor_id
            and defects.bad_odometer_km between tests.odometer_km and tests.odometer_km + $proven_km
    )
