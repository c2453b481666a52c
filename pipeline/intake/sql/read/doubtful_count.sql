-- grain: the file; how many of its rows need a closer look
select count(*)
from listed_rows
where doubtful
