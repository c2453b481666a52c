-- grain: one life whose defect was found, and whether it was heard of or let the rider down
select bad_km, road_failure, heard
from marts.life_windows
where bad_km is not null
order by life_id
