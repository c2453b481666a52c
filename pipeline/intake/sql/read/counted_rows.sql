-- grain: the file; its rows, and those of them that cannot come in
select
    coalesce(sum(row_count), 0)::bigint as row_count,
    coalesce(sum(row_count) filter (broken), 0)::bigint as broken_count
from read_rows
