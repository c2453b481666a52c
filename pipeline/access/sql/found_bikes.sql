-- grain: one bike whose id, plate or model holds the text, those in service first
select bikes.unit_id, bikes.label, bikes.model_code, bikes.shop_id, bikes.out_of_service_on
from marts.bikes as bikes
where contains(lower(bikes.unit_id), lower($text))
    or contains(lower(bikes.label), lower($text))
    or contains(lower(bikes.model_code), lower($text))
order by
    bikes.out_of_service_on is not null,
    not starts_with(lower(bikes.label), lower($text)),
    bikes.label,
    bikes.unit_id
limit 21
