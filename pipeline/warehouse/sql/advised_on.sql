-- grain: one file of what was advised, and the day that it is of
select filename, max(as_of) as as_of
from read_parquet($paths, union_by_name = true, filename = true)
group by filename
