-- grain: one sensor and one run of days over which work was advised, with what came of it
-- what was done counts for the last advice before it: once, though runs follow one another closely
with runs as (
    select *, lead(first_on) over (partition by sensor_id order by first_on) as next_on
    from marts.advised_spells
),

done as (
    select
        * exclude (tested_on, taken_off_on),
        if(next_on is null or tested_on <= next_on, tested_on, null) as tested_on,
        if(next_on is null or taken_off_on <= next_on, taken_off_on, null) as taken_off_on
    from runs
),

spells as (
    select *, coalesce(taken_off_on, next_on, first_on + interval 180 day)::date as until
    from done
    where action <> 'leave'
)

select
    spells.sensor_id, spells.first_on, parts.unit_price as part_cost,
    spells.tested_on is not null as tested,
    spells.taken_off_on is not null as taken_off,
    spells.taken_off_on is not null and coalesce(spells.fault_confirmed = 'yes', false)
        and spells.confirmed_by is distinct from 'verdict_only' as confirmed,
    spells.taken_off_on is not null and coalesce(spells.fault_confirmed = 'no', false) as sound,
    spells.road_failures > 0 or exists (
        select 1 from marts.tests as tests
        where tests.sensor_id = spells.sensor_id and tests.reason = 'symptom'
            and tests.tested_on > spells.first_on and tests.tested_on <= spells.until
    ) as noticed
from spells
join marts.sensor_lives as lives using (sensor_id)
left join staging.parts as parts using (part_no)
order by spells.first_on, spells.sensor_id
