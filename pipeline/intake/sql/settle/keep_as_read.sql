-- grain: one row as it was read, of which cells are blanked since they contradict its history
insert into intake.rows_as_read
select rows.*
from intake.rows
semi join blanks using (row_id)
anti join intake.rows_as_read using (row_id)
