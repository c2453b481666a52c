-- grain: one week ahead of the shop and number ordered that is asked for
select * from marts.stock_weeks
where shop_id = $shop_id and part_no = $part_no
order by week
