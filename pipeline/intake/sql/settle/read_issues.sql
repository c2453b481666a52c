-- grain: one thing found wrong while reading one file
create table intake.read_issues as
select
    files.hand_in, files.file_no, files.file_name, files.table_name, issues.* exclude (filename)
from read_parquet($paths, filename = true) as issues
join intake.files on files.issues_path = issues.filename
