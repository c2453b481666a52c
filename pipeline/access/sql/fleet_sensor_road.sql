-- grain: one sensor in service: chance of a road failure within 90 days, with its interval
select sensor_id, unit_id, road_90_days as road, road_90_days_low as road_low,
    road_90_days_high as road_high
from marts.worklist
order by unit_id, sensor_id
