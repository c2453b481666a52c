-- grain: one sensor in service, one fit and one day ahead
select * exclude (fit_version) from marts.defect_by_day order by sensor_id, draw, days
