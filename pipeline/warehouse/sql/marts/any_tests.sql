-- grain: one test id that a set-aside row names, of those ever handed in, and the sensor it names:
-- as it stands, else as last handed in
create view intake.any_tests as
select
    rows.row_key as session_id,
    arg_max(
        rows.cells['sensor_id'],
        rows.row_id + if(standing.row_id is null, 0, (select max(row_id) from intake.rows))
    ) as sensor_id
from intake.rows
left join intake.standing using (row_id)
where rows.table_name = 'test_sessions'
    and rows.row_key in (
        select
            if(
                aside.table_name in ('sweeps', 'test_sessions'),
                aside.row_key, named.cells['session_id']
            )
        from intake.set_aside as aside
        left join intake.rows as named using (row_id)
    )
group by rows.row_key
