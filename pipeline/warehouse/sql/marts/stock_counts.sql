-- grain: the latest count of one part in one shop up to the as-of day, with what was fitted since
with latest as (
    select shop_id, part_no, max(counted_on) as counted_on
    from staging.stock
    where counted_on <= $as_of
    group by shop_id, part_no
),

-- a count is taken to hold at the end of its day
fitted as (
    select bikes.shop_id, sensors.part_no, sensors.fitted_on
    from staging.sensors
    join marts.bikes using (unit_id)
    where sensors.origin = 'fitted_here' and sensors.fitted_on <= $as_of
)

select
    stock.shop_id, stock.part_no, stock.counted_on, stock.on_hand, stock.on_order,
    stock.order_due_on,
    (
        select count(*) from fitted
        where fitted.shop_id = stock.shop_id and fitted.part_no = stock.part_no
            and fitted.fitted_on > stock.counted_on
    ) as used_since
from staging.stock
join latest using (shop_id, part_no, counted_on)
where stock.on_hand is not null
order by stock.shop_id, stock.part_no
