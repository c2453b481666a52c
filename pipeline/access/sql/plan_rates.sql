-- grain: one row: what holds for all sensors
select * exclude (fit_version) from marts.plan_rates
