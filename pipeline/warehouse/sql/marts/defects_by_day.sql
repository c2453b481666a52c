-- grain: one confirmed defect of a sensor life: the day that it was closed, oldest first
select found_on
from marts.life_windows
where found_on is not null
order by found_on
