-- grain: one sensor in service that wears, as the plans take it
select * from marts.plan_sensors order by sensor_id
