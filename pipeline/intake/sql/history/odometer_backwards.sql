-- grain: one reading that contradicts more of the bike's other readings than any of those does
create or replace temp table contradictions as
with in_order as (
    select
        hash(unit_id) as unit_digest,
        km < lag(km) over (partition by hash(unit_id) order by day, km) as falls
    from readings
),

-- of most bikes the readings never fall: only those of the others are held against each other
falling as (
    select
        readings.*, rows.table_name, rows.row_key
    from readings
    semi join (select unit_digest from in_order where falls) as fallen_once
        on fallen_once.unit_digest = hash(readings.unit_id)
    join intake.rows using (row_id)
),

around as (
    select
        *,
        max(km) filter (where standing) over (
            partition by unit_id order by day
            range between unbounded preceding and interval 1 day preceding
        ) as most_before,
        min(km) filter (where standing) over (
            partition by unit_id order by day
            range between interval 1 day following and unbounded following
        ) as least_after
    from falling
),

-- and of these bikes only the readings to which some other one says otherwise
doubtful as (
    select * from around where most_before > km + 1 or least_after < km - 1
),

pairs as (
    select
        mine.row_id, mine.column_name, mine.day, mine.km, mine.table_name,
        other.row_id as other_row_id, other.column_name as other_column,
        other.day as other_day, other.km as other_km
    from doubtful as mine
    join falling as other
        on other.unit_id = mine.unit_id
        and other.standing
        and (other.table_name, other.row_key, other.column_name)
            <> (mine.table_name, mine.row_key, mine.column_name)
        -- a rounded kilometre is no contradiction
        and ((mine.day < other.day and mine.km > other.km + 1)
            or (mine.day > other.day and mine.km < other.km - 1))
),

counted as (
    select row_id, column_name, count(*) as times from pairs group by row_id, column_name
)

select
    pairs.row_id, pairs.column_name, pairs.table_name, any_value(pairs.km) as km,
    arg_min(
        'the odometer runs backwards: ' || printf('%.0f', pairs.km) || ' km on ' || pairs.day
            || ', but ' || printf('%.0f', pairs.other_km) || ' km on ' || pairs.other_day
            || '; expected readings that never fall',
        (abs(pairs.day - pairs.other_day), pairs.other_day, pairs.other_row_id, pairs.other_column)
    ) as reason
from pairs
join counted as mine on mine.row_id = pairs.row_id and mine.column_name = pairs.column_name
left join counted as other
    on other.row_id = pairs.other_row_id and other.column_name = pairs.other_column
group by pairs.row_id, pairs.column_name, pairs.table_name
-- of two that contradict only each other, the later is taken for the slip
having bool_and(
    mine.times > coalesce(other.times, 0)
    or (mine.times = coalesce(other.times, 0) and pairs.day > pairs.other_day)
)
