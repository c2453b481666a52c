-- grain: one sensor id ever handed in and the bike it names: as it stands, else as last handed in
create view intake.any_sensors as
select
    rows.row_key as sensor_id,
    arg_max(
        rows.cells['unit_id'],
        rows.row_id + if(standing.row_id is null, 0, (select max(row_id) from intake.rows))
    ) as unit_id
from intake.rows
left join intake.standing using (row_id)
where rows.table_name = 'sensors' and rows.row_key is not null
group by rows.row_key
