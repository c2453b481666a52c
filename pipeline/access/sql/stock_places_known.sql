-- grain: one shop and one part number on record, those that the stock plan holds first
select
    shops.shop_id, shops.name as shop_name, parts.part_no, parts.description,
    orders.part_no is not null as planned
from staging.shops as shops
cross join staging.parts as parts
left join marts.stock_orders as orders
    on orders.shop_id = shops.shop_id and orders.part_no = parts.part_no
order by shops.name, shops.shop_id, planned desc, parts.part_no
