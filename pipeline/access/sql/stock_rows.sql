-- grain: one shop and number ordered, those with something to order or pass on first
select orders.*, shops.name as shop_name, parts.description
from marts.stock_orders as orders
join staging.shops as shops using (shop_id)
left join staging.parts as parts using (part_no)
order by orders.order_parts + orders.transfer_in + orders.transfer_out > 0 desc,
    shops.name, orders.shop_id, orders.part_no
