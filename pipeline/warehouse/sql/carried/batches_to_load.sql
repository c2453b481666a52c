-- grain: one file of those kept before this build that holds results of sweeps to be loaded
select distinct filename
from kept_measures
semi join sweep_order using (measure_key)
order by filename
