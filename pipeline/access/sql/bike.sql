-- grain: one bike
select * from marts.bikes where unit_id = $unit_id
