-- grain: one standing sweep: the shop and month it is kept under, and the file its samples came in
-- The shop is the one that made the test; where none is named, the one whose bike it was that day.
select
    sweeps.session_id, sweeps.samples_hash, sweeps.sample_count, sweeps.hand_in, sweeps.file_no,
    coalesce(tests.shop_id, spans.shop_id) as shop_id, strftime(tests.tested_on, '%Y-%m') as month
from staging.sweeps as sweeps
join staging.test_sessions as tests using (session_id)
join staging.sensors as sensors using (sensor_id)
left join marts.bike_shops as spans
    on spans.unit_id = sensors.unit_id
    and (spans.from_on is null or spans.from_on <= tests.tested_on)
    and (spans.to_on is null or tests.tested_on < spans.to_on)
order by shop_id, month, tests.tested_at, sweeps.session_id
