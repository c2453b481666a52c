-- grain: one kept batch that holds results of sweeps to be loaded
select distinct filename
from read_parquet($paths, filename = true, union_by_name = true)
semi join sweep_order using (measure_key)
order by filename
