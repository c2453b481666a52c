-- grain: one part number on one mount of one model, as it stands
create table staging.fitments as
select
    row_id,
    cells['part_no'] as part_no,
    cells['model_code'] as model_code,
    cells['mount'] as mount
from intake.standing
where table_name = 'fitments'
