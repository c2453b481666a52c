-- grain: one bike
select
    bikes.*, riding.km_per_day as ahead_km_per_day,
    riding.km_per_day_low as ahead_km_per_day_low, riding.km_per_day_high as ahead_km_per_day_high,
    riding.odometer_stale, riding.days_since_reading, riding.km_since_reading_low,
    riding.km_since_reading_high
from marts.bikes as bikes
left join marts.riding_rates as riding using (unit_id)
where bikes.unit_id = $unit_id
