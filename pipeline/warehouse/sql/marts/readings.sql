-- grain: one odometer reading of one bike, from whatever record states it
create table marts.readings as
with stated as (
    select unit_id, read_on, odometer_km, 'odometer' as source from staging.odometer
    union all
    select sensors.unit_id, tests.tested_on, tests.odometer_km, 'test'
    from staging.test_sessions as tests join staging.sensors using (sensor_id)
    union all
    select sensors.unit_id, repairs.closed_on, repairs.odometer_km, 'repair'
    from staging.repair_outcomes as repairs join staging.sensors using (sensor_id)
    union all
    select unit_id, fitted_on, fitted_km, 'fitting' from staging.sensors
    union all
    select unit_id, first_seen_on, first_seen_km, 'first sight' from staging.sensors
    union all
    select unit_id, removed_on, removed_km, 'removal' from staging.sensors
    union all
    select sensors.unit_id, repairs.failed_on, repairs.failed_km, 'failure'
    from staging.repair_outcomes as repairs join staging.sensors using (sensor_id)
)

select unit_id, read_on, odometer_km, min(source) as source
from stated
where read_on is not null and odometer_km is not null and read_on <= $as_of
group by unit_id, read_on, odometer_km
