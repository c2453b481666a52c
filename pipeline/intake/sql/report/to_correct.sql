-- grain: one handed-in row that is set aside or stands with a blanked cell, whole as handed in
with wrong as (
    select
        row_id, column_name, min(value) as value,
        string_agg(distinct reason, '; ' order by reason) as reason
    from intake.set_aside
    where row_id is not null
    group by row_id, column_name
),

by_row as (
    select
        row_id,
        map_from_entries(
            list((column_name, coalesce(value, '')) order by column_name)
                filter (column_name is not null)
        ) as cells,
        string_agg(coalesce(column_name || ': ', '') || reason, ' | ' order by column_name) as because
    from wrong
    group by row_id
)

select
    rows.row_id,
    if(by_row.cells is null, rows.cells, map_concat(rows.cells, by_row.cells)) as cells,
    by_row.because,
    rows.row_key,
    rows.file_name,
    rows.line
from by_row
join intake.rows using (row_id)
where rows.table_name = $table_name and cardinality(rows.cells) > 0
order by rows.row_id
