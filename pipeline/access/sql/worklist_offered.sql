-- grain: one sensor in service of those named, in the order named: what an answer is chosen by
with named as (
    select
        unnest($sensor_ids::varchar[]) as sensor_id,
        generate_subscripts($sensor_ids::varchar[], 1) as place
)

select worklist.sensor_id, worklist.label, worklist.mount, worklist.action, worklist.above_floor
from named
join marts.worklist as worklist using (sensor_id)
order by named.place
