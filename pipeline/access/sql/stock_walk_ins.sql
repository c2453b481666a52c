-- grain: one part number that is ordered as the one asked for, in the shop asked for
select * from marts.stock_walk_ins
where shop_id = $shop_id
    and (part_no = $part_no or list_contains(string_split($used_for, ', '), part_no))
order by part_no
