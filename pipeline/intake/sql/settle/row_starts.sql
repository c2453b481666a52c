-- grain: one file whose rows are to be loaded, and how many rows there are before its own
create or replace temp table row_starts as
with counted as (
    select filename as rows_path, count(*) as row_count
    from read_parquet($paths, filename = true)
    group by rows_path
)

select
    files.*,
    (
        (select count(*) from intake.rows)
        + sum(counted.row_count) over (order by hand_in, file_no) - counted.row_count
    )::bigint as rows_before
from intake.files
join counted using (rows_path)
