-- grain: one reading of one test of the bike, against the good range of its part number
select
    reading_values.session_id, reading_values.sensor_id, tests.tested_on, tests.odometer_km,
    reading_values.reading, reading_values.unit, reading_values.value,
    bands.low, bands.high, bands.source, bands.method, bands.sensor_count
from marts.reading_values
join marts.tests as tests using (session_id)
left join marts.bands
    on bands.part_no = reading_values.part_no and bands.reading = reading_values.reading
where tests.unit_id = $unit_id
order by reading_values.reading, tests.tested_at, reading_values.session_id
