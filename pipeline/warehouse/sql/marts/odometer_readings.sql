-- grain: one bike and day with an odometer reading, as the estimate of km a day takes it
-- A reading below an earlier one of the same bike is left out: the records cannot say which is right.
create table marts.odometer_readings as
with daily as (
    select
        readings.unit_id, readings.read_on, max(readings.odometer_km) as odometer_km,
        coalesce('fleet ' || any_value(bikes.fleet_id), any_value(bikes.duty)) as ridden_as
    from marts.readings as readings
    join marts.bikes as bikes using (unit_id)
    group by readings.unit_id, readings.read_on
)

select *
from daily
qualify odometer_km >= max(odometer_km) over (
    partition by unit_id order by read_on rows between unbounded preceding and current row
)
