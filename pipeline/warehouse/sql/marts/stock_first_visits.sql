-- grain: one shop and part number: first visits of bikes, and the parts fitted at them
with met as (
    select unit_id, tested_on as met_on from marts.tests where tested_on <= $as_of
    union all
    select lives.unit_id, repairs.closed_on
    from staging.repair_outcomes as repairs
    join marts.sensor_lives as lives using (sensor_id)
    where repairs.closed_on <= $as_of
    union all
    select unit_id, read_on from marts.readings where read_on <= $as_of
),

first_met as (
    select bikes.unit_id, bikes.shop_id, min(met.met_on) as met_on
    from met
    join marts.bikes using (unit_id)
    group by bikes.unit_id, bikes.shop_id
),

-- in its first half year a shop's records meet every bike for the first time, regulars too
watched as (
    select
        shops.shop_id,
        greatest(min(first_met.met_on) + 183, $as_of - 1096) as from_on,
        greatest(0, $as_of - greatest(min(first_met.met_on) + 183, $as_of - 1096)) as days
    from staging.shops
    left join first_met using (shop_id)
    group by shops.shop_id
),

-- bikes of a fleet are known to the shop before it sees them
visits as (
    select first_met.unit_id, first_met.shop_id, first_met.met_on
    from first_met
    join marts.bikes using (unit_id)
    join watched on watched.shop_id = first_met.shop_id
    where bikes.fleet_id is null and first_met.met_on > watched.from_on
),

brought as (
    select visits.shop_id, lives.part_no, count(distinct visits.unit_id) as n_visits
    from visits
    join marts.sensor_lives as lives using (unit_id)
    where lives.from_on is null or lives.from_on <= visits.met_on + 30
    group by visits.shop_id, lives.part_no
),

asked as (
    select visits.shop_id, lives.part_no, count(*) as n_asked
    from visits
    join marts.sensor_lives as lives using (unit_id)
    join staging.repair_outcomes as repairs using (sensor_id)
    where repairs.action = 'sensor_replaced' and repairs.closed_on <= $as_of
        and repairs.closed_on between visits.met_on and visits.met_on + 30
    group by visits.shop_id, lives.part_no
)

select
    watched.shop_id, parts.part_no, coalesce(watched.days, 0) as days,
    coalesce(brought.n_visits, 0) as n_visits, coalesce(asked.n_asked, 0) as n_asked
from watched
cross join staging.parts as parts
left join brought on brought.shop_id = watched.shop_id and brought.part_no = parts.part_no
left join asked on asked.shop_id = watched.shop_id and asked.part_no = parts.part_no
order by watched.shop_id, parts.part_no
