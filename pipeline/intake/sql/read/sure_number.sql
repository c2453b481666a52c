-- grain: one cell; a number within its limits as cells.sql writes it, or nothing where it needs a closer look
create or replace temp macro sure_number(value, low, high) as case
    -- so few digits are what the shortest text of that number has, too
    when regexp_full_match(value, '-?(0(\.[0-9]{0,3}[1-9])?|[1-9][0-9]{0,8}(\.[0-9]{0,4}[1-9])?)')
        then if(try_cast(value as double) between low and high, value, null)
    when regexp_full_match(value, '[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?')
        then if(
            try_cast(value as double) between low and high and isfinite(try_cast(value as double)),
            regexp_replace(try_cast(value as double)::varchar, '\.0$', ''), null
        )
end
