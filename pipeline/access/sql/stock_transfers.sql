-- grain: one transfer of one part number between two shops
select * from marts.stock_transfers order by part_no, from_shop, to_shop
