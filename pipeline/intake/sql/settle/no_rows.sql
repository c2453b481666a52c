-- grain: none; the shape of the handed-in rows, where none are there yet
create table if not exists intake.rows (
    row_id bigint, hand_in bigint, file_no bigint, file_name varchar, table_name varchar,
    line bigint, row_key varchar, row_hash varchar, cells map(varchar, varchar),
    row_count bigint, broken boolean
)
