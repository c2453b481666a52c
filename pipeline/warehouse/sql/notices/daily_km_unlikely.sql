-- grain: one bike whose readings imply more than 1,000 km a day
with steps as (
    select unit_id, read_on, odometer_km,
        lag(read_on) over later as from_on, lag(odometer_km) over later as from_km
    from marts.readings
    window later as (partition by unit_id order by read_on, odometer_km)
)

select 'Bike ' || unit_id || ': ' || printf('%.0f', odometer_km - from_km) || ' km between ' || from_on
    || ' and ' || read_on || ' is more than 1,000 km a day.' as notice
from steps
where odometer_km - from_km > 1000 * greatest(read_on - from_on, 1)
order by unit_id, read_on
