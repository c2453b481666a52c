-- grain: none; the shape of what is wrong with files while nothing was ever handed in
create table intake.read_issues (
    hand_in bigint, file_no bigint, file_name varchar, table_name varchar,
    line bigint, row_key varchar, column_name varchar, value varchar, reason varchar,
    effect varchar, row_count bigint
)
