-- grain: one cell of travel and age of the part and duty asked for
from marts.wear_map
where part_no = $part_no and duty = $duty
order by age_from_km, bin_from_pct
