-- grain: none; the shape of the handed-in rows while nothing was ever handed in
create table intake.rows (
    row_id bigint, hand_in bigint, file_no bigint, file_name varchar, table_name varchar,
    line bigint, row_key varchar, row_hash varchar, cells map(varchar, varchar),
    row_count bigint, broken boolean
)
