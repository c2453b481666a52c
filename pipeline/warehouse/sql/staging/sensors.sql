-- grain: one sensor on one bike, as it stands
select
    row_id,
    cells['sensor_id'] as sensor_id,
    cells['unit_id'] as unit_id,
    cells['mount'] as mount,
    cells['part_no'] as part_no,
    cells['origin'] as origin,
    cells['fitted_on']::date as fitted_on,
    cells['fitted_km']::double as fitted_km,
    cells['first_seen_on']::date as first_seen_on,
    cells['first_seen_km']::double as first_seen_km,
    cells['removed_on']::date as removed_on,
    cells['removed_km']::double as removed_km,
    cells['removed_reason'] as removed_reason
from to_stage
where table_name = 'sensors'
