-- grain: one bike and one span of days over which it was one shop's and one fleet's
-- The contract has no day of moving: a bike is of another shop from the day its row said so first.
create table marts.bike_shops as
with told as (
    select
        rows.row_key as unit_id, rows.cells['shop_id'] as shop_id, rows.cells['fleet_id'] as fleet_id,
        files.handed_in_on, rows.row_id
    from intake.rows
    join intake.row_outcomes as outcomes using (row_id)
    join intake.files as files
        on files.hand_in = rows.hand_in and files.file_no = rows.file_no
    where rows.table_name = 'units' and outcomes.outcome in ('new', 'replacing', 'unchanged')
        and rows.row_key in (select unit_id from staging.units)
    -- of rows handed in on one day, the last one holds
    qualify row_number() over (
        partition by rows.row_key, files.handed_in_on order by rows.row_id desc
    ) = 1
),

changes as (
    select *
    from told
    window in_order as (partition by unit_id order by row_id)
    qualify lag(unit_id) over in_order is null
        or shop_id is distinct from lag(shop_id) over in_order
        or fleet_id is distinct from lag(fleet_id) over in_order
)

select
    unit_id, shop_id, fleet_id,
    if(lag(unit_id) over in_order is null, null, handed_in_on) as from_on,
    lead(handed_in_on) over in_order as to_on
from changes
window in_order as (partition by unit_id order by row_id)
