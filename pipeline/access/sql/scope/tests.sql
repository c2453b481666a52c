-- grain: one bench test that is the asker's to see
create table scope.tests as
select session_id, sensor_id, unit_id, tested_on, shop_id
from whole.marts.test_shops
where if(
    $by_fleet::boolean,
    fleet_id in (select unnest($fleets::varchar[])),
    shop_id in (select unnest($shops::varchar[]))
)
