-- grain: one shop and part number going out of supply, the nearest end first
select * from marts.stock_last_buys order by supply_ends_on, shop_id, part_no
