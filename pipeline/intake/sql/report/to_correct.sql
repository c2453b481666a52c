-- grain: one handed-in row that is set aside or stands with a blanked cell, whole as handed in
select
    rows.row_id,
    map_concat(
        any_value(rows.cells),
        map_from_entries(list((set_aside.column_name, coalesce(set_aside.value, '')) order by set_aside.column_name)
            filter (set_aside.column_name is not null))
    ) as cells,
    string_agg(
        coalesce(set_aside.column_name || ': ', '') || set_aside.reason, ' | '
        order by set_aside.column_name
    ) as set_aside_because
from intake.set_aside
join intake.rows using (row_id)
where rows.table_name = $table_name and cardinality(rows.cells) > 0
group by rows.row_id
order by rows.row_id
