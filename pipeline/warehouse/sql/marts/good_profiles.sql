-- grain: one cell of the travel of one sound sensor, by their places, of a run of sensors: the median over its sweeps
select good.sensor_no, bins.bin_no, median(profile.smoothness_pct) as smoothness_pct
from good_sweeps as good
join marts.sweep_profile as profile using (session_id)
join profile_bins as bins using (bin_from_pct, bin_to_pct)
where isfinite(profile.smoothness_pct)
    and good.sensor_no >= $first_sensor and good.sensor_no < $end_sensor
group by good.sensor_no, bins.bin_no
