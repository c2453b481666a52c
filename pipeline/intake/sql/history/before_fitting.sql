-- grain: one test or repair dated before its sensor was fitted
insert into fates
with dated as (
    select row_id, cells['sensor_id'] as sensor_id, 'tested_at' as column_name, cells['tested_at'] as value
    from candidates where table_name = 'test_sessions'
    union all
    select row_id, cells['sensor_id'], 'closed_on', cells['closed_on']
    from candidates where table_name = 'repair_outcomes'
)

select
    dated.row_id, 'broken', dated.column_name, dated.value,
    'before sensor ' || dated.sensor_id || ' was fitted on ' || sensor.cells['fitted_on']
        || '; expected that day or later'
from dated
join candidates as sensor
    on sensor.table_name = 'sensors' and sensor.standing and sensor.row_key = dated.sensor_id
where dated.value[:10] < sensor.cells['fitted_on']
