-- grain: none; the shape of the rows as read of which cells are blanked, where none are there yet
create table if not exists intake.rows_as_read as
from intake.rows
limit 0
