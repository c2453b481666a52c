-- grain: one worn band of the life asked for as known after one of its tests
from marts.wear_bands
where life_id = $life_id
order by sensor_age_km, session_id, band_no
