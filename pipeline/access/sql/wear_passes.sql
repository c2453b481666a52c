-- grain: one width of wear at the logger rate of one sensor in service of the bike asked for
with rates as (
    select distinct stretches.rate_hz
    from marts.wear_stretches as stretches
    join marts.sensor_lives as lives using (sensor_id)
    where lives.unit_id = $unit_id
)

select passes.*
from marts.wear_passes as passes
join rates using (rate_hz)
order by passes.rate_hz, passes.width_pct
