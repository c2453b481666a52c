-- grain: one standing sweep: the shop and month it is kept under, and the file its samples came in
-- The shop is the one that made the test; where none is named, the one whose bike it was that day.
-- Sweeps of a shop and month stand together, the earliest tests first; in more files where large.
with placed as (
    select
        sweeps.session_id, sweeps.samples_hash, sweeps.sample_count, sweeps.hand_in, sweeps.file_no,
        coalesce(tests.shop_id, spans.shop_id) as shop_id,
        strftime(tests.tested_on, '%Y-%m') as month, tests.tested_at
    from staging.sweeps as sweeps
    join staging.test_sessions as tests using (session_id)
    join staging.sensors as sensors using (sensor_id)
    left join marts.bike_shops as spans
        on spans.unit_id = sensors.unit_id
        and (spans.from_on is null or spans.from_on <= tests.tested_on)
        and (spans.to_on is null or tests.tested_on < spans.to_on)
),

filled as (
    select
        *, (sum(sample_count) over earlier - sample_count) // $most_samples as file_of_month
    from placed
    window earlier as (
        partition by shop_id, month order by tested_at, session_id
        rows between unbounded preceding and current row
    )
)

select
    session_id, samples_hash, sample_count, hand_in, file_no, shop_id, month,
    dense_rank() over (order by shop_id, month, file_of_month) as part_no
from filled
order by part_no, session_id
