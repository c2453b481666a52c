-- grain: one row of a file, as it is to be kept
select line, row_key, row_hash, texts, row_count, broken
from listed_rows
