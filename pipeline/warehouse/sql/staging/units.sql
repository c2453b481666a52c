-- grain: one bike, as it stands
select
    row_id,
    cells['unit_id'] as unit_id,
    cells['shop_id'] as shop_id,
    cells['fleet_id'] as fleet_id,
    cells['label'] as label,
    cells['model_code'] as model_code,
    cells['model_year']::bigint as model_year,
    cells['duty'] as duty,
    cells['in_service_on']::date as in_service_on,
    cells['out_of_service_on']::date as out_of_service_on
from to_stage
where table_name = 'units'
