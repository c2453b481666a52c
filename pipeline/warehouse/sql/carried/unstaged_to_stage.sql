-- grain: one row that stands and is not staged yet
create or replace temp view to_stage as
select standing.*
from intake.standing
semi join unstaged using (row_id)
