-- grain: one mapped life of a sensor of the part, duty and bike asked for, as known after its last test
with last_bands as (
    from marts.wear_bands
    where band_no = 1
    qualify row_number() over (partition by life_id order by sensor_age_km desc, session_id desc) = 1
),

further as (
    select session_id, count(*) as further_bands
    from marts.wear_bands
    where band_no > 1
    group by session_id
),

tests as (
    select life_id, count(*) as n_tests
    from marts.wear_bands
    where band_no = 1
    group by life_id
)

select
    lives.sensor_id, bands.life_id, lives.unit_id, bikes.label, lives.mount, lives.part_no,
    bikes.duty, lives.in_service and spans.ended_by is null as in_service,
    bands.session_id, tests.n_tests, bands.sensor_age_km, bands.confidence, bands.peak_pct,
    bands.peak_low_pct, bands.peak_high_pct, bands.from_pct, bands.to_pct, bands.level,
    bands.roughening, bands.at_stop, coalesce(further.further_bands, 0) as further_bands,
    progress.moved_pct_per_1000km, progress.moved_low, progress.moved_high,
    progress.widened_pct_per_1000km, progress.widened_low, progress.widened_high,
    coalesce(progress.answer, 'not enough known') as answer,
    progress.fails_at_km, progress.fails_low_km, progress.fails_high_km
from last_bands as bands
join tests using (life_id)
join marts.sensor_spans as spans using (life_id)
join marts.sensor_lives as lives on lives.sensor_id = spans.sensor_id
join marts.bikes as bikes on bikes.unit_id = lives.unit_id
left join further on further.session_id = bands.session_id
left join marts.wear_progress as progress on progress.life_id = bands.life_id
where $part_no in ('all', lives.part_no)
    and ($duty = 'all' or bikes.duty = $duty)
    and ($unit_id::varchar is null or lives.unit_id = $unit_id::varchar)
order by bands.confidence >= 0.5 desc, lives.in_service and spans.ended_by is null desc,
    tests.n_tests >= 3 desc, bands.level desc, bands.life_id
