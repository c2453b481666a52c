-- grain: one part in one shop, as last counted up to the as-of day
select stock.shop_id, stock.part_no, stock.counted_on, stock.on_hand,
    coalesce(stock.on_order, 0) as on_order, stock.order_due_on, parts.lead_time_days
from staging.stock as stock
left join staging.parts as parts using (part_no)
where stock.counted_on <= $as_of
qualify row_number() over (
    partition by stock.shop_id, stock.part_no order by stock.counted_on desc
) = 1
order by stock.shop_id, stock.part_no
