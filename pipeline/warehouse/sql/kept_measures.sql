-- grain: one kept measurement and the file that holds it
create or replace temp table kept_measures as
select measure_key, filename
from read_parquet($paths, filename = true, union_by_name = true)
