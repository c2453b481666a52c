-- grain: one cell of one row that holds something, with its canonical text or what is wrong
create or replace temp table cells as
with filled as (
    select line, name, trim(value) as value
    from (unpivot doubtful_rows on columns(* exclude (line)) into name name value value)
    where trim(value) <> ''
),

known as (
    select filled.line, filled.value, field.*
    from filled
    join contract_fields as field using (name)
),

canonical as (
    select
        *,
        case
            when kind = 'id'
                then if(regexp_full_match(value, '[A-Za-z0-9._-]{1,64}'), value, null)
            when kind = 'text' then value
            when kind = 'word' then if(list_contains(words, value), value, null)
            when kind in ('number', 'whole')
                then if(
                    regexp_full_match(value, '[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?'),
                    regexp_replace(try_cast(value as double)::varchar, '\.0$', ''), null
                )
            when kind = 'date'
                then if(
                    regexp_full_match(value, '\d{4}-\d{2}-\d{2}([T ]00:00(:00(\.0+)?)?(Z|\+00(:?00)?)?)?'),
                    try_cast(value[:10] as date), null
                )::varchar
            when kind = 'moment'
                then if(
                    regexp_full_match(
                        value,
                        '\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(:\d{2}(\.\d{1,9})?)?(Z|[+-](0\d|1[0-5])(:?[0-5]\d)?)'
                    ) and try_cast(value as timestamptz) is not null,
                    replace(value, ' ', 'T'), null
                )
            when kind = 'codes'
                then if(
                    regexp_full_match(upper(value), '[PCBU][0-3][0-9A-F]{3}(\s+[PCBU][0-3][0-9A-F]{3})*'),
                    regexp_replace(upper(value), '\s+', ' ', 'g'), null
                )
        end as text
    from known
)

select
    line, name, value, required, key_position, kind,
    case
        when text is null then null
        when kind = 'whole' and try_cast(text as double) <> round(try_cast(text as double)) then null
        when kind in ('number', 'whole') and not coalesce(isfinite(try_cast(text as double)), false) then null
        when kind in ('number', 'whole')
            and (try_cast(text as double) < low or try_cast(text as double) > high) then null
        when kind = 'whole' then try_cast(text as double)::bigint::varchar
        when kind in ('date', 'moment') and (text[:4] < '1950' or text[:4] > '2100') then null
        when past and text[:10] > $latest_day then null
        else text
    end as canonical,
    case
        when past and text is not null and text[:10] > $latest_day
            then 'this lies after the day it was handed in; expected that day or earlier'
        else 'expected ' || expected
    end as complaint
from canonical
