-- grain: one row of a file, its good cells in the order of read_columns; none before any is read
create or replace temp table listed_rows (
    line bigint, row_key varchar, row_hash varchar, texts varchar[], row_count bigint, broken boolean,
    doubtful boolean
)
