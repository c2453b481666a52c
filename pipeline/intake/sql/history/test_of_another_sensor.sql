-- grain: one repair that names a test of another sensor
insert into blanks
select
    repair.row_id, 'session_id', repair.cells['session_id'],
    'that is a test of sensor ' || test.cells['sensor_id'] || '; expected a test of '
        || repair.cells['sensor_id']
from candidates as repair
join candidates as test
    on test.table_name = 'test_sessions' and test.standing
    and test.row_key = repair.cells['session_id']
where repair.table_name = 'repair_outcomes'
    and test.cells['sensor_id'] <> repair.cells['sensor_id']
