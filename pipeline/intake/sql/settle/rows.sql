-- grain: one row ever handed in, in order of hand-in, file name and line
create table intake.rows as
select
    row_number() over (order by files.hand_in, files.file_no, rows.line) as row_id,
    files.hand_in, files.file_no, files.file_name, files.table_name,
    rows.line, rows.row_key, rows.row_hash, rows.cells, rows.row_count, rows.broken
from read_parquet($paths, filename = true) as rows
join intake.files on files.rows_path = rows.filename
