-- grain: one part number on one mount of one model
select part_no, model_code, mount
from staging.fitments
order by part_no, model_code, mount
