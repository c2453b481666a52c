-- grain: the file of records: set-aside records of bikes, sensors and tests that name no known bike
select printf(
    '%d set-aside %s could not be tied to a bike (listed at the end): any bike may lack them, also one shown as leave.',
    count(*), if(count(*) = 1, 'entry', 'entries')
) as notice
from intake.set_aside
left join (select distinct row_id, reason from marts.waiting) as tied
    on tied.row_id = set_aside.row_id and tied.reason = set_aside.reason
where set_aside.effect <> 'cell' and tied.row_id is null
    and coalesce(set_aside.table_name, 'none')
        in ('none', 'units', 'odometer', 'sensors', 'test_sessions', 'sweeps', 'repair_outcomes')
having count(*) > 0
