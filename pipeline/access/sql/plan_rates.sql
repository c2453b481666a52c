-- grain: one row: what holds for all sensors
select * from marts.plan_rates
