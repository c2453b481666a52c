-- grain: one key of a contract table among those asked for that is the asker's
with known as (
    select 'shops' as table_name, shop_id as row_key from scope.shops
    union all
    select 'fleets', fleet_id from scope.fleets
    union all
    select 'fleets', spans.fleet_id
    from whole.marts.bike_shops as spans
    join scope.units using (unit_id)
    where spans.to_on is null and spans.fleet_id is not null
    union all
    select 'units', unit_id from scope.units
    union all
    select 'sensors', sensor_id from scope.sensors
    union all
    select 'test_sessions', session_id from scope.tests
    union all
    select 'repair_outcomes', outcome_id from scope.repairs
    union all
    select distinct table_name, row_key from whole.intake.rows
    where row_id in (select row_id from scope.own_rows)
        and row_key in (select unnest($keys::varchar[]))
        and row_key not in (
            select standing.row_key from whole.intake.standing as standing
            where standing.table_name = rows.table_name
        )
)

select distinct table_name, row_key
from known
where row_key in (select unnest($keys::varchar[]))
