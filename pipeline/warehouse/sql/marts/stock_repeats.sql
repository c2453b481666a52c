-- grain: one row: sensors fitted here and replaced again within half a year, and the days watched
select
    count(*) filter (replaced.closed_on <= sensors.fitted_on + 182) as n_repeats,
    coalesce(sum(greatest(0, least(
        182,
        coalesce(replaced.closed_on, sensors.removed_on, $as_of) - sensors.fitted_on,
        $as_of - sensors.fitted_on
    ))), 0) as days
from staging.sensors
left join (
    select sensor_id, min(closed_on) as closed_on
    from staging.repair_outcomes
    where action = 'sensor_replaced' and closed_on <= $as_of
    group by sensor_id
) as replaced using (sensor_id)
where sensors.origin = 'fitted_here' and sensors.fitted_on <= $as_of
