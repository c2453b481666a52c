-- grain: one life of a sensor with a track that ended in a confirmed defect, and its age when that was found
select life_id, bad_km as failed_age_km
from marts.life_windows
where bad_km is not null
order by life_id
