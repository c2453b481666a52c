-- grain: one pool, part number and duty (all: any) that may be shown; sensors a row of it must rest on
create table scope.shown_pools as
with behind as (
    select
        pool, part_no, duty, count(*) as shop_count, sum(sensor_count) as sensor_count,
        not $by_fleet::boolean
            and bool_and(shop_id in (select unnest($shops::varchar[]))) as own
    from whole.marts.shops_behind
    group by pool, part_no, duty
)

select pool, part_no, duty, if(own, 0, $least_sensors::bigint) as needs
from behind
where own or (shop_count >= $least_shops::bigint and sensor_count >= $least_sensors::bigint)
