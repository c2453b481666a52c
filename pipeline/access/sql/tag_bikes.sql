-- grain: one bike in service
select unit_id, coalesce(nullif(label, ''), unit_id) as label, model_code, shop_id, fleet_id
from staging.units
where out_of_service_on is null
order by shop_id, fleet_id, label, unit_id
