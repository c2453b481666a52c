-- grain: one row in which some cell needs a closer look
create or replace temp table doubtful_rows as
from raw
where line in (select line from listed_rows where doubtful)
