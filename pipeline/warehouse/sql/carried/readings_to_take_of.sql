-- grain: one bench test that reads otherwise than before, of a run of rows as they were laid down
from marts.readings_to_take
where rowid >= $first_row and rowid < $end_row
order by rowid
