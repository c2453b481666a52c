-- grain: none; the shape of the handed-in files while nothing was ever handed in
create table intake.files (
    hand_in bigint, file_no bigint, file_name varchar, table_name varchar, handed_in_on date,
    rows_path varchar, issues_path varchar, rows_digest varchar
)
