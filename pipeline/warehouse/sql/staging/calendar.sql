-- grain: one window in which one bike can be spared, as it stands
create table staging.calendar as
select
    row_id,
    cells['unit_id'] as unit_id,
    cells['free_from']::date as free_from,
    cells['free_to']::date as free_to
from intake.standing
where table_name = 'calendar'
