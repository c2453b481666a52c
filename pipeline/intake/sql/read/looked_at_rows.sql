-- grain: one row that had a closer look, its good cells in the order of read_columns
insert into listed_rows
with together as (
    select
        line,
        -- sorted afterwards: an ordered aggregate takes three times as long
        list_sort(list(
            {
                'name': name, 'canonical': canonical, 'bad': if(canonical is null, value, null),
                'key_position': key_position
            }
        )) as cells
    from cells
    group by line
),

described as (
    select
        line,
        map_from_entries([
            {'name': cell.name, 'canonical': cell.canonical} for cell in cells if cell.canonical is not null
        ]) as cells,
        -- of what was written, good or bad: rows that differ only in a bad cell are not the same
        md5(array_to_string(
            [cell.name || '=' || coalesce(cell.canonical, '?' || cell.bad) for cell in cells], chr(31)
        )) as row_hash,
        list_sort([
            {'key_position': cell.key_position, 'text': coalesce(cell.canonical, cell.bad)}
            for cell in cells if cell.key_position is not null
        ]) as key_cells
    from together
)

select
    doubtful_rows.line,
    -- a key with a part missing is no key
    if(
        len(key_cells) = (select count(*) from contract_fields where key_position is not null),
        array_to_string([cell.text for cell in key_cells], '/'), null
    ) as row_key,
    coalesce(row_hash, '') as row_hash,
    [cells[name] for name in (select names from read_columns)] as texts,
    1::bigint as row_count,
    ($missing_column or exists (
        select 1 from cell_issues where cell_issues.line = doubtful_rows.line and cell_issues.effect = 'row'
    )) as broken,
    false as doubtful
from doubtful_rows
left join described using (line)
