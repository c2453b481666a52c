-- grain: one cell of the travel: what good sensors of the part number show there
select
    bin_from_pct, bin_to_pct, typical_pct, high_pct, sensor_count, more_needed, method, part_no
from marts.travel_bands
where part_no = $part_no
order by bin_from_pct
