-- grain: one row that stands
create or replace temp view to_stage as
from intake.standing
