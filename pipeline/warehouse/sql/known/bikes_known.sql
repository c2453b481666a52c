-- grain: one bike and the first day of which its shop wrote anything down
create table staging.bikes_known as
with noted as (
    select unit_id, read_on as noted_on from built_staging.odometer
    union all
    select sensors.unit_id, tests.tested_on
    from built_staging.test_sessions as tests join built_staging.sensors using (sensor_id)
    union all
    select sensors.unit_id, repairs.closed_on
    from built_staging.repair_outcomes as repairs join built_staging.sensors using (sensor_id)
    union all
    select unit_id, first_seen_on from built_staging.sensors
    union all
    -- a sensor that was on the bike when it was new is known only once the bike is
    select unit_id, fitted_on from built_staging.sensors where origin = 'fitted_here'
)

select unit_id, min(noted_on) as known_on
from noted
where noted_on is not null
group by unit_id
