-- grain: one gap between two odometer readings of a bike outside a fleet, or up to the as-of day
create table marts.contact_gaps as
with days as (
    select distinct readings.unit_id, readings.read_on, bikes.out_of_service
    from marts.readings as readings
    join marts.bikes as bikes using (unit_id)
    where bikes.fleet_id is null
),

gaps as (
    select *, lead(read_on) over (partition by unit_id order by read_on) as next_on
    from days
)

select unit_id, coalesce(next_on, $as_of) - read_on as gap_days, next_on is null as open
from gaps
where next_on is not null or not out_of_service
