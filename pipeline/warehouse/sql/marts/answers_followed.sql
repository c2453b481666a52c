-- grain: one action advised and one answer to it: what was done within 180 days, and what failed
create table marts.answers_followed as
select
    action, coalesce(answer, 'none') as answer,
    count(*) as spell_count, count(distinct sensor_id) as sensor_count,
    count(tested_on) as tested_count, count(taken_off_on) as taken_off_count,
    count(*) filter (
        taken_off_on is not null and fault_confirmed = 'yes'
            and confirmed_by is distinct from 'verdict_only'
    ) as confirmed_count,
    count(*) filter (taken_off_on is not null and fault_confirmed = 'no') as sound_count,
    coalesce(sum(road_failures), 0)::bigint as road_failure_count
from marts.advised_spells
group by action, coalesce(answer, 'none')
order by action, answer
