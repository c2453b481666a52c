-- grain: one window in which one bike can be spared, as it stands
select
    row_id,
    cells['unit_id'] as unit_id,
    cells['free_from']::date as free_from,
    cells['free_to']::date as free_to
from to_stage
where table_name = 'calendar'
