-- grain: one cell of the travel in one sweep of a run of sound sensors, by their places
select good.sensor_no, bins.bin_no, profile.smoothness_pct
from good_sweeps as good
join marts.sweep_profile as profile using (session_id)
join profile_bins as bins using (bin_from_pct, bin_to_pct)
where isfinite(profile.smoothness_pct)
    and good.sensor_no >= $first_sensor and good.sensor_no < $end_sensor
