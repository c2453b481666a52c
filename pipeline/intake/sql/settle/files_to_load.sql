-- grain: one file whose rows are not among those that are there already, which are the first
select rows_path
from intake.files
where (hand_in, file_no) > coalesce(
    (select (hand_in, file_no) from intake.rows order by row_id desc limit 1), (0, 0)
)
order by hand_in, file_no
