-- grain: one sensor with a track in service: its life, its age and the logger that swept it last
with own as (
    select tests.life_id, arg_max(measures.rate_hz, (tests.tested_at, session_id)) as rate_hz
    from marts.life_tests as tests
    join marts.sweep_measures as measures using (session_id)
    where measures.rate_hz > 0
    group by tests.life_id
),

-- a sensor not swept yet will be swept with what its shop used last
at_shop as (
    select tests.shop_id, arg_max(measures.rate_hz, (tests.tested_at, session_id)) as rate_hz
    from marts.tests as tests
    join marts.sweep_measures as measures using (session_id)
    where measures.rate_hz > 0
    group by tests.shop_id
)

select
    coalesce(spans.life_id, lives.sensor_id) as life_id, lives.sensor_id, lives.part_no, bikes.duty,
    greatest(bikes.odometer_now_km - lives.zero_km, 0) as age_now_km,
    coalesce(own.rate_hz, at_shop.rate_hz) as rate_hz
from marts.sensor_lives as lives
join marts.bikes as bikes using (unit_id)
left join marts.sensor_spans as spans
    on spans.sensor_id = lives.sensor_id and spans.ended_by is null
left join own on own.life_id = spans.life_id
left join at_shop on at_shop.shop_id = bikes.shop_id
where lives.in_service
    and coalesce(lives.kind, 'potentiometer') = 'potentiometer'
order by lives.sensor_id
