-- grain: one part number
select part_no, replaced_by
from staging.parts
order by part_no
