-- grain: one cell; a whole number within its limits as cells.sql writes it, or nothing where it needs a closer look
create or replace temp macro sure_whole(value, low, high) as case
    when regexp_full_match(value, '0|[1-9][0-9]{0,8}')
        then if(try_cast(value as integer) between low and high, value, null)
    when regexp_full_match(value, '(0|[1-9][0-9]{0,8})\.0+')
        then if(
            try_cast(value as double) between low and high,
            try_cast(try_cast(value as double) as bigint)::varchar, null
        )
end
