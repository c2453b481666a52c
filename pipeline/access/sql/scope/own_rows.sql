-- grain: one row ever handed in that is the asker's by what it names
create view scope.own_rows as
select
    rows.row_id, rows.hand_in, rows.file_no, rows.line, rows.table_name, rows.row_key,
    rows.file_name
from whole.intake.rows as rows
where case rows.table_name
    when 'shops' then rows.row_key in (select shop_id from scope.shops)
    when 'units' then
        rows.cells['shop_id'] in (select shop_id from scope.shops)
        or rows.cells['fleet_id'] in (select fleet_id from scope.fleets)
    when 'stock' then rows.cells['shop_id'] in (select shop_id from scope.shops)
    when 'sensors' then rows.row_key in (select sensor_id from scope.sensors)
    when 'test_sessions' then
        rows.row_key in (select session_id from scope.tests)
        or (
            rows.row_key not in (select session_id from whole.marts.test_shops)
            and rows.cells['sensor_id'] in (select sensor_id from scope.sensors)
            and (
                coalesce(rows.cells['shop_id'], '') = ''
                or rows.cells['shop_id'] in (select shop_id from scope.shops)
                or exists (select 1 from scope.fleets)
            )
        )
    when 'sweeps' then rows.row_key in (select session_id from scope.tests)
    when 'repair_outcomes' then
        rows.row_key in (select outcome_id from scope.repairs)
        or (
            rows.row_key not in (select outcome_id from whole.staging.repair_outcomes)
            and rows.cells['sensor_id'] in (select sensor_id from scope.sensors)
            and (
                coalesce(rows.cells['session_id'], '') = ''
                or rows.cells['session_id'] in (select session_id from scope.tests)
            )
        )
    when 'advice_answers' then rows.cells['sensor_id'] in (select sensor_id from scope.sensors)
    when 'parts' then exists (select 1 from scope.shops)
    when 'fitments' then exists (select 1 from scope.shops)
    when 'odometer' then exists (
        select 1
        from scope.spans as spans
        where spans.unit_id = rows.cells['unit_id']
            and (spans.from_on is null or spans.from_on <= try_cast(rows.cells['read_on'] as date))
            and (spans.to_on is null or try_cast(rows.cells['read_on'] as date) < spans.to_on)
    )
    when 'calendar' then rows.cells['unit_id'] in (select unit_id from scope.units)
    when 'ride_log' then rows.cells['unit_id'] in (select unit_id from scope.units)
    else false
end
