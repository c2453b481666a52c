-- grain: one age of one part number, or of all
from marts.fleet_curve
order by part_no <> 'all', part_no, age_km
