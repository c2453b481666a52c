-- grain: one sensor in service of those named, in the order named
with named as (
    select
        unnest($sensor_ids::varchar[]) as sensor_id,
        generate_subscripts($sensor_ids::varchar[], 1) as place
)

select worklist.*
from named
join marts.worklist as worklist using (sensor_id)
order by named.place
