-- grain: one travel bin: how rough sensors of the part are there that passed
from marts.wear_roughness_band where part_no = $part_no
order by bin_from_pct
