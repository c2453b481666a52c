-- grain: one row as read from one file, its good cells as a map
create or replace temp table read_rows as
with good as (
    select
        line,
        map_from_entries(list((name, canonical) order by name)) as cells
    from cells
    where canonical is not null
    group by line
),

-- of what was written, good or bad: rows that differ only in a bad cell are not the same
hashes as (
    select
        line,
        md5(string_agg(name || '=' || coalesce(canonical, '?' || value), chr(31) order by name)) as row_hash
    from cells
    group by line
),

keys as (
    select line, string_agg(coalesce(canonical, value), '/' order by key_position) as row_key
    from cells
    where key_position is not null
    group by line
    -- a key with a part missing is no key
    having count(*) = (select count(*) from contract_fields where key_position is not null)
)

select
    raw.line::bigint as line,
    keys.row_key,
    coalesce(hashes.row_hash, '') as row_hash,
    coalesce(good.cells, map {}::map(varchar, varchar)) as cells,
    1::bigint as row_count,
    ($missing_column or exists (
        select 1 from cell_issues where cell_issues.line = raw.line and cell_issues.effect = 'row'
    )) as broken
from raw
left join good using (line)
left join keys using (line)
left join hashes using (line)
