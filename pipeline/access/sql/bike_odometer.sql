-- grain: one odometer reading of the bike
select read_on, odometer_km, source
from marts.readings
where unit_id = $unit_id
order by read_on, odometer_km
