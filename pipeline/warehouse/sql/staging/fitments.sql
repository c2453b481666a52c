-- grain: one part number on one mount of one model, as it stands
select
    row_id,
    cells['part_no'] as part_no,
    cells['model_code'] as model_code,
    cells['mount'] as mount
from to_stage
where table_name = 'fitments'
