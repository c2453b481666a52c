-- grain: none; the shape of the rows of a file before any is read
create or replace temp table read_rows (
    line bigint, row_key varchar, row_hash varchar, cells map(varchar, varchar),
    row_count bigint, broken boolean
)
