-- grain: one row of the files named, numbered behind those there in order of hand-in, file name and line
-- Rows are numbered by their place where they lie, since most files have theirs in order of lines:
-- sorting all rows with their cells would hold all of them in memory at once.
insert into intake.rows
with counted as (
    select filename as rows_path, count(*) as row_count
    from read_parquet($paths, filename = true)
    group by rows_path
),

starts as (
    select
        files.*,
        (
            (select count(*) from intake.rows)
            + sum(counted.row_count) over (order by hand_in, file_no) - counted.row_count
        )::bigint as rows_before
    from intake.files
    join counted using (rows_path)
),

placed as (
    select
        starts.rows_before, rows.line, starts.rows_before + rows.file_row_number + 1 as place
    from read_parquet($paths, filename = true, file_row_number = true) as rows
    join starts on starts.rows_path = rows.filename
),

out_of_order as (
    select distinct rows_before
    from (
        select
            rows_before, line, lag(line) over in_place as line_before,
            lag(rows_before) over in_place as rows_before_last
        from placed
        window in_place as (order by place)
    )
    where line < line_before and rows_before = rows_before_last
),

renumbered as (
    select
        place, rows_before + row_number() over (partition by rows_before order by line, place) as row_id
    from placed
    semi join out_of_order using (rows_before)
)

select
    coalesce(renumbered.row_id, starts.rows_before + rows.file_row_number + 1) as row_id,
    starts.hand_in, starts.file_no, starts.file_name, starts.table_name,
    rows.line, rows.row_key, rows.row_hash, rows.cells, rows.row_count, rows.broken
from read_parquet($paths, filename = true, file_row_number = true) as rows
join starts on starts.rows_path = rows.filename
left join renumbered on renumbered.place = starts.rows_before + rows.file_row_number + 1
