-- grain: one count of one part in one shop on one day, as it stands
select
    row_id,
    cells['shop_id'] as shop_id,
    cells['part_no'] as part_no,
    cells['counted_on']::date as counted_on,
    cells['on_hand']::bigint as on_hand,
    cells['on_order']::bigint as on_order,
    cells['order_due_on']::date as order_due_on
from to_stage
where table_name = 'stock'
