-- grain: one model and fleet that bikes on record are of
select distinct model_code, coalesce(fleet_id, '') as fleet_id
from staging.units
order by model_code, fleet_id
