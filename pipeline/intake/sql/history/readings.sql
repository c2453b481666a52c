-- grain: one odometer reading of one bike that some candidate row states
create or replace temp table readings as
with sensors as (
    select row_key as sensor_id, cells['unit_id'] as unit_id
    from candidates
    where table_name = 'sensors' and standing
),

stated as (
    select row_id, standing, cells['unit_id'] as unit_id,
        'odometer_km' as column_name, cells['read_on'] as day, cells['odometer_km'] as km
    from candidates where table_name = 'odometer'
    union all
    select row_id, standing, unit_id,
        'odometer_km', cells['tested_at'][:10], cells['odometer_km']
    from candidates join sensors on sensor_id = cells['sensor_id'] where table_name = 'test_sessions'
    union all
    select row_id, standing, unit_id,
        'odometer_km', cells['closed_on'], cells['odometer_km']
    from candidates join sensors on sensor_id = cells['sensor_id'] where table_name = 'repair_outcomes'
    union all
    select row_id, standing, unit_id,
        'failed_km', cells['failed_on'], cells['failed_km']
    from candidates join sensors on sensor_id = cells['sensor_id'] where table_name = 'repair_outcomes'
    union all
    select row_id, standing, cells['unit_id'], column_name,
        cells[replace(column_name, '_km', '_on')], cells[column_name]
    from candidates
    cross join (values ('fitted_km'), ('first_seen_km'), ('removed_km')) as named(column_name)
    where table_name = 'sensors'
)

select row_id, standing, unit_id, column_name, day::date as day, km::double as km
from stated
where day is not null and km is not null
