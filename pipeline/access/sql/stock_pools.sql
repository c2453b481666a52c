-- grain: one number ordered and shops that may pass parts to one another
select * from marts.stock_pools order by part_no, shops
