-- grain: one key of a contract table among those asked for that is the asker's
with asked as (select distinct unnest($keys::varchar[]) as row_key),

known as (
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
)

select distinct known.table_name, known.row_key
from known
join asked using (row_key)
union
-- set aside, so that it stands nowhere else
select own.table_name, own.row_key
from scope.own_rows as own
join asked using (row_key)
anti join whole.intake.standing as standing
    on standing.table_name = own.table_name and standing.row_key = own.row_key
