-- grain: one pool (good: tests without the defect; any), part number, duty (all: any) and shop
-- Each sensor counts once, for the shop that tested it last.
create table marts.shops_behind as
with last as (
    select 'any' as pool, part_no, duty, shop_id, sensor_id
    from marts.test_shops
    qualify row_number() over (
        partition by sensor_id order by tested_on desc, session_id desc
    ) = 1
    union all
    select 'good', part_no, duty, shop_id, sensor_id
    from marts.test_shops
    where good
    qualify row_number() over (
        partition by sensor_id order by tested_on desc, session_id desc
    ) = 1
)

select
    pool, coalesce(part_no, 'all') as part_no, coalesce(duty, 'all') as duty, shop_id,
    count(*) as sensor_count
from last
group by grouping sets (
    (pool, part_no, duty, shop_id), (pool, part_no, shop_id), (pool, duty, shop_id), (pool, shop_id)
)
order by all
