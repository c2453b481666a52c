-- grain: one sensor and one day: the last advice given on it, of the files that are read
create or replace temp table advised_days as
select sensor_id, as_of, action, defect_now, by_lot
from read_parquet($paths, union_by_name = true)
qualify row_number() over (partition by sensor_id, as_of order by version desc) = 1
