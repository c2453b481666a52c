-- grain: one odometer reading of one bike on one day, as it stands
select
    row_id,
    cells['unit_id'] as unit_id,
    cells['read_on']::date as read_on,
    cells['odometer_km']::double as odometer_km
from to_stage
where table_name = 'odometer'
