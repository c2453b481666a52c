-- grain: one file that a version holds the rows of, in order of hand-in
select hand_in, file_no, file_name, rows_digest
from intake.files
order by hand_in, file_no
