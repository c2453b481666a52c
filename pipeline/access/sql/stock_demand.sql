-- grain: one number of parts of the shop and number ordered that is asked for
select * from marts.stock_demand
where shop_id = $shop_id and part_no = $part_no
order by parts
