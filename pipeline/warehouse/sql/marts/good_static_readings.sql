-- grain: one reading of one sound sensor: the median over its tests, without those in doubt
select part_no, sensor_id, reading, median(value) as value
from marts.reading_values
semi join marts.good_tests using (session_id)
where coalesce(doubt, '') = ''
group by part_no, sensor_id, reading
order by part_no, sensor_id, reading
