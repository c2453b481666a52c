-- grain: one bench test in which both end resistances were read
select part_no, closed_ohm, open_ohm
from marts.static_readings
where closed_ohm is not null and open_ohm is not null
order by rowid
