-- grain: one reading in one test of a run of sound sensors, by their places, without those in doubt
select good.sensor_no, named.reading_no, read.value
from good_numbered as good
join marts.reading_values as read using (session_id)
join good_reading_names as named using (reading)
where coalesce(read.doubt, '') = '' and good.sensor_no >= $first_sensor and good.sensor_no < $end_sensor
