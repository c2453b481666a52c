-- grain: one row of the files named, which have theirs in any order, numbered by its line
insert into intake.rows
with renumbered as (
    select
        filename, file_row_number,
        row_number() over (partition by filename order by line, file_row_number) as place
    from read_parquet($paths, filename = true, file_row_number = true)
)

select
    starts.rows_before + renumbered.place as row_id,
    starts.hand_in, starts.file_no, starts.file_name, starts.table_name,
    rows.line, rows.row_key, rows.row_hash, rows.cells, rows.row_count, rows.broken
from read_parquet($paths, filename = true, file_row_number = true) as rows
join row_starts as starts on starts.rows_path = rows.filename
join renumbered using (filename, file_row_number)
