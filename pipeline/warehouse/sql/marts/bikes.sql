-- grain: one bike, its odometer as last read and as estimated for the as-of day
create table marts.bikes as
with latest as (
    select
        unit_id, max(read_on) as read_on, max(odometer_km) as read_km,
        min(odometer_km) as first_km, min(read_on) as first_on
    from marts.readings
    group by unit_id
),

-- the recent rate: from the reading nearest before 300 days ahead of the last one
recent as (
    select latest.unit_id, max(readings.odometer_km) as from_km,
        max(readings.read_on) as from_on
    from latest
    join marts.readings using (unit_id)
    where readings.read_on <= latest.read_on - 300
    group by latest.unit_id
),

rates as (
    select
        latest.*,
        case
            when recent.from_on is not null
                then (read_km - from_km) / (latest.read_on - from_on)
            when latest.read_on - first_on >= 30
                then (read_km - first_km) / (latest.read_on - first_on)
        end as km_per_day,
        -- over all its readings: how the bike is used, not how it was used of late
        if(latest.read_on - first_on >= 30,
            (read_km - first_km) / (latest.read_on - first_on), null) as usual_km_per_day
    from latest
    left join recent using (unit_id)
)

select
    units.unit_id, coalesce(units.label, units.unit_id) as label, units.shop_id,
    shops.name as shop_name, units.fleet_id, units.model_code, units.model_year, units.duty,
    units.in_service_on, units.out_of_service_on,
    coalesce(units.out_of_service_on <= $as_of, false) as out_of_service,
    rates.read_km as odometer_read_km, rates.read_on as odometer_read_on, rates.km_per_day,
    rates.usual_km_per_day,
    rates.read_km + coalesce(rates.km_per_day, 0)
        * greatest(least($as_of, coalesce(units.out_of_service_on, $as_of)) - rates.read_on, 0)
        as odometer_now_km
from staging.units
join staging.shops using (shop_id)
left join rates using (unit_id)
