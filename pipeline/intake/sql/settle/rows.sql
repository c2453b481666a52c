-- grain: one row of the files named, which have theirs in order of lines, numbered by its place
-- Sorting all rows, be it without their cells, would hold all of them in memory at once.
insert into intake.rows
select
    starts.rows_before + rows.file_row_number + 1 as row_id,
    starts.hand_in, starts.file_no, starts.file_name, starts.table_name,
    rows.line, rows.row_key, rows.row_hash, rows.cells, rows.row_count, rows.broken
from read_parquet($paths, filename = true, file_row_number = true) as rows
join row_starts as starts on starts.rows_path = rows.filename
