-- grain: one odometer reading of a bike known by the day
create table staging.odometer as
select odometer.*
from built_staging.odometer as odometer
semi join staging.units using (unit_id)
where odometer.read_on <= $as_of
