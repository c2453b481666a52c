-- grain: one sensor that was on a bike while it is the asker's
create table scope.sensors as
select distinct lives.sensor_id
from whole.marts.sensor_lives as lives
join scope.spans as spans using (unit_id)
where spans.to_on is null
    and (spans.from_on is null or lives.to_on is null or lives.to_on >= spans.from_on)
