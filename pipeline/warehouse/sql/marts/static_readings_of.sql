-- grain: one bench test, its readings at rest, of a run of rows as they were laid down
from marts.static_readings
where rowid >= $first_row and rowid < $end_row
order by rowid
