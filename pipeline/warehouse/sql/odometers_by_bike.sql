-- grain: one bike with an odometer reading: its readings by day, days counted from 1970-01-01
select
    unit_id, any_value(ridden_as) as ridden_as,
    list(read_on - date '1970-01-01' order by read_on) as days,
    list(odometer_km::double order by read_on) as km
from marts.odometer_readings
group by unit_id
order by unit_id
