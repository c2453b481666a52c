-- grain: one answer of a shop to the advice on one sensor, as it stands
select
    row_id,
    cells['sensor_id'] as sensor_id,
    cells['answered_at']::timestamptz as answered_at,
    cells['answered_at'][:10]::date as answered_on,
    cells['answer'] as answer,
    cells['advised_action'] as advised_action,
    cells['until']::date as until,
    cells['reason'] as reason,
    cells['answered_by'] as answered_by
from to_stage
where table_name = 'advice_answers'
