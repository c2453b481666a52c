-- grain: one kept sweep measurement
select distinct measure_key
from read_parquet($paths, union_by_name = true)
