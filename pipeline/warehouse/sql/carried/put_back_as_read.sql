-- grain: one row of which cells were blanked, whole again
insert into intake.rows
from intake.rows_as_read
