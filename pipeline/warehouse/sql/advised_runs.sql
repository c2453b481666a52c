-- grain: one sensor and one run of days over which the same was advised, as far as is looked at
-- Runs known before are taken on as if each were one day.
create or replace temp table advised_runs as
with given as (
    select
        sensor_id::varchar as sensor_id, action::varchar as action, first_on::date as first_on,
        last_on::date as last_on, defect_at_first::double as defect_at_first,
        by_lot::boolean as by_lot
    from runs_before
    union all
    select sensor_id, action, as_of, as_of, defect_now, by_lot
    from advised_days
    where as_of > $after and as_of <= $until
),

numbered as (
    select
        *,
        row_number() over (partition by sensor_id order by first_on)
            - row_number() over (partition by sensor_id, action order by first_on) as run_no
    from given
)

select
    sensor_id, action, min(first_on) as first_on, max(last_on) as last_on,
    arg_min(defect_at_first, first_on) as defect_at_first, bool_or(by_lot) as by_lot
from numbered
group by sensor_id, action, run_no
