-- grain: one sensor in service that wears: the work planned for it, by the advice or by what costs least
create table marts.planned_work as
select
    cheapest.sensor_id,
    case
        when advice.action in ('replace', 'test') then advice.action
        when advice.action = 'not_enough_known' then 'test'
        else cheapest.next_work
    end as work,
    if(advice.action = 'leave', cheapest.next_days, 0.0) as work_days
from marts.cheapest
join marts.advice using (sensor_id)
order by cheapest.sensor_id
