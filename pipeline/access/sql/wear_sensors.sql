-- grain: one mapped life of a sensor of the part, duty and bike asked for, as known after its last test
with asked as (
    select
        spans.life_id, lives.sensor_id, lives.unit_id, lives.mount, lives.part_no, bikes.label,
        bikes.duty, lives.in_service and spans.ended_by is null as in_service
    from marts.sensor_lives as lives
    join marts.sensor_spans as spans using (sensor_id)
    join marts.bikes as bikes using (unit_id)
    where $part_no in ('all', lives.part_no)
        and ($duty = 'all' or bikes.duty = $duty)
        and ($unit_id::varchar is null or lives.unit_id = $unit_id::varchar)
),

last_bands as (
    from marts.wear_bands
    semi join asked using (life_id)
    where band_no = 1
    qualify row_number() over (partition by life_id order by sensor_age_km desc, session_id desc) = 1
),

further as (
    select session_id, count(*) as further_bands
    from marts.wear_bands
    semi join asked using (life_id)
    where band_no > 1
    group by session_id
),

tests as (
    select life_id, count(*) as n_tests
    from marts.wear_bands
    semi join asked using (life_id)
    where band_no = 1
    group by life_id
)

select
    asked.sensor_id, bands.life_id, asked.unit_id, asked.label, asked.mount, asked.part_no,
    asked.duty, asked.in_service,
    bands.session_id, tests.n_tests, bands.sensor_age_km, bands.confidence, bands.peak_pct,
    bands.peak_low_pct, bands.peak_high_pct, bands.from_pct, bands.to_pct, bands.level,
    bands.roughening, bands.at_stop, coalesce(further.further_bands, 0) as further_bands,
    progress.moved_pct_per_1000km, progress.moved_low, progress.moved_high,
    progress.widened_pct_per_1000km, progress.widened_low, progress.widened_high,
    coalesce(progress.answer, 'not enough known') as answer,
    progress.fails_at_km, progress.fails_low_km, progress.fails_high_km
from last_bands as bands
join asked using (life_id)
join tests using (life_id)
left join further on further.session_id = bands.session_id
left join marts.wear_progress as progress on progress.life_id = bands.life_id
order by bands.confidence >= 0.5 desc, asked.in_service desc,
    tests.n_tests >= 3 desc, bands.level desc, bands.life_id
