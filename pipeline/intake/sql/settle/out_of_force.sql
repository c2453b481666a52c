-- grain: one row not in force: broken, fallen, withdrawn, superseded or itself a retraction
create table intake.out_of_force as
select row_id
from intake.rows
where broken or table_name = 'retract'
union
from fallen
union
from withdrawn
union
from superseded
