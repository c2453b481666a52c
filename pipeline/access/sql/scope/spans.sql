-- grain: one bike and one span of days over which it was one of the asker's shops' or fleets'
create table scope.spans as
select unit_id, shop_id, from_on, to_on
from whole.marts.bike_shops
where if(
    $by_fleet::boolean,
    fleet_id in (select unnest($fleets::varchar[])),
    shop_id in (select unnest($shops::varchar[]))
)
