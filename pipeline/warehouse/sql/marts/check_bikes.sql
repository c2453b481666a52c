-- grain: one bike in service with a sensor in service, as the plan of checks takes it
with last_tests as (
    select lives.unit_id, arg_max(tests.session_id, (tests.tested_at, tests.session_id)) as session_id
    from marts.tests as tests
    join marts.sensor_lives as lives using (sensor_id)
    group by lives.unit_id
)

select bikes.unit_id, bikes.label, bikes.shop_id, bikes.fleet_id,
    last_tests.session_id as last_session_id
from marts.bikes as bikes
left join last_tests using (unit_id)
where not bikes.out_of_service
    and bikes.unit_id in (select unit_id from marts.sensors_now)
order by bikes.unit_id
