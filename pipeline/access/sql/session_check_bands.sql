-- grain: one good range of the part number that was tested
select bands.*
from marts.check_bands as bands
semi join (from marts.static_readings where session_id = $session_id) using (part_no)
order by bands.reading
