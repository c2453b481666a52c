-- grain: one closed job on one sensor, with the first later job that names it as its origin
with returned as (
    select comeback_of as outcome_id, min(closed_on) as came_back_on
    from marts.repairs
    where comeback_of is not null
    group by comeback_of
)

select
    repairs.outcome_id, repairs.closed_on, lives.part_no, bikes.model_code,
    coalesce(tests.shop_id, bikes.shop_id) as shop_id, shops.name as shop_name, repairs.action,
    -- one that names a job closed after it is no comeback of it
    if(returned.came_back_on >= repairs.closed_on, returned.came_back_on, null) as came_back_on
from marts.repairs as repairs
join marts.sensor_lives as lives using (sensor_id)
join marts.bikes as bikes using (unit_id)
left join staging.test_sessions as tests on tests.session_id = repairs.session_id
join staging.shops as shops on shops.shop_id = coalesce(tests.shop_id, bikes.shop_id)
left join returned on returned.outcome_id = repairs.outcome_id
order by repairs.closed_on, repairs.outcome_id
