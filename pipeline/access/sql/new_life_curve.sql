-- grain: one age of a sensor fitted new
select * exclude (fit_version) from marts.new_life_curve order by age_km
