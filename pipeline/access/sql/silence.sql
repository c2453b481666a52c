-- grain: one way to take it that nothing was heard of a sensor: defects expected among all in service
with ways as (
    select sensor_id, defect_now, named.way, named.chance, named.place
    from marts.defect_risk
    cross join lateral (values
        (1, 'as_taken', defect_now),
        (2, 'silence_tells_nothing', defect_now_if_silent),
        (3, 'all_in_view_to_this_day', defect_now_if_all_heard)
    ) as named(place, way, chance)
    where defect_now is not null
)

select
    way, count(*) as sensor_count, sum(chance) as expected_defects,
    count(*) filter (abs(chance - defect_now) > 0.05) as differing_count
from ways
group by way, place
order by place
