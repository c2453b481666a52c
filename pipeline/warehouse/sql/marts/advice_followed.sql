-- grain: one action: how often it was advised, what the shop did within 180 days, what happened
create table marts.advice_followed as
select
    action, count(*) as spell_count, count(distinct sensor_id) as sensor_count,
    min(first_on) as first_on, max(last_on) as last_on,
    count(*) filter (by_lot) as by_lot_count,
    count(*) filter (answer = 'accept') as accepted_count,
    count(*) filter (answer = 'put_off') as put_off_count,
    count(*) filter (answer = 'overrule') as overruled_count,
    count(tested_on) as tested_count, count(taken_off_on) as taken_off_count,
    count(*) filter (
        taken_off_on is not null and fault_confirmed = 'yes'
            and confirmed_by is distinct from 'verdict_only'
    ) as confirmed_count,
    count(*) filter (taken_off_on is not null and fault_confirmed = 'no') as sound_count,
    coalesce(sum(road_failures), 0)::bigint as road_failure_count
from marts.advised_spells
group by action
order by action
