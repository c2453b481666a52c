-- grain: one sensor in service, one fit and one day ahead; the sensor told by its place by name,
-- and numbers no wider than they need be: of many sensors these rows fill half a gigabyte
with placed as (
    select sensor_id, (row_number() over (order by sensor_id) - 1)::integer as place
    from marts.plan_sensors
)

select
    placed.place, by_day.draw::smallint as draw, by_day.days::smallint as days, by_day.defect,
    by_day.heard
from marts.defect_by_day as by_day
join placed using (sensor_id)
