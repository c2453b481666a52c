-- grain: one sensor id that a set-aside row or its test names, of those ever handed in, and the bike
-- it names: as it stands, else as last handed in
create view intake.any_sensors as
select
    rows.row_key as sensor_id,
    arg_max(
        rows.cells['unit_id'],
        rows.row_id + if(standing.row_id is null, 0, (select max(row_id) from intake.rows))
    ) as unit_id
from intake.rows
left join intake.standing using (row_id)
where rows.table_name = 'sensors'
    and rows.row_key in (
        select aside.row_key from intake.set_aside as aside where aside.table_name = 'sensors'
        union all
        select named.cells['sensor_id']
        from intake.set_aside as aside
        join intake.rows as named using (row_id)
        union all
        select sensor_id from intake.any_tests
    )
group by rows.row_key
