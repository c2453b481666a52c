-- grain: one part in one shop, as last counted up to the as-of day, less what was fitted since
-- parts fitted since the count come off the shelf, then off the order, as in the stock plan
with latest as (
    select shop_id, part_no, max(counted_on) as counted_on
    from staging.stock
    where counted_on <= $as_of
    group by shop_id, part_no
),

fitted as (
    select bikes.shop_id, sensors.part_no, sensors.fitted_on
    from staging.sensors
    join marts.bikes using (unit_id)
    where sensors.origin = 'fitted_here' and sensors.fitted_on <= $as_of
),

counts as (
    select
        stock.shop_id, stock.part_no, stock.counted_on, stock.on_hand,
        coalesce(stock.on_order, 0) as on_order, stock.order_due_on,
        (
            select count(*) from fitted
            where fitted.shop_id = stock.shop_id and fitted.part_no = stock.part_no
                and fitted.fitted_on > stock.counted_on
        ) as used_since
    from staging.stock
    join latest using (shop_id, part_no, counted_on)
    where stock.on_hand is not null
)

select counts.shop_id, counts.part_no, counts.counted_on,
    greatest(counts.on_hand - counts.used_since, 0) as on_hand,
    greatest(counts.on_order - greatest(counts.used_since - counts.on_hand, 0), 0) as on_order,
    counts.order_due_on, parts.lead_time_days
from counts
left join staging.parts as parts using (part_no)
order by counts.shop_id, counts.part_no
