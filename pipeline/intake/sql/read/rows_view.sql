-- grain: one row as read from one file, its good cells as a map
create or replace temp view read_rows as
select
    line, row_key, row_hash,
    map_from_entries([
        {'name': entry[1], 'text': entry[2]}
        for entry in list_zip((select names from read_columns), texts) if entry[2] is not null
    ]) as cells,
    row_count, broken
from listed_rows
