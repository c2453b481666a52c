-- grain: one age of a sensor fitted new
select * from marts.new_life_curve order by age_km
