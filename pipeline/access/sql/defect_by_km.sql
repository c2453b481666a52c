-- grain: one sensor in service and one distance ahead
select * exclude (fit_version) from marts.defect_by_km order by sensor_id, km
