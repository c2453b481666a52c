-- grain: one reading of one sound sensor, of one part of these: the median over its tests, without those in doubt
select part_no, sensor_id, reading, median(value) as value
from marts.reading_values
semi join marts.good_tests using (session_id)
where coalesce(doubt, '') = '' and hash(sensor_id) % $parts = $part
group by part_no, sensor_id, reading
