-- grain: one cell; a date not after a day as it stands, or nothing where it needs a closer look
create or replace temp macro sure_date(value, latest_day) as if(
    strlen(value) = 10 and value between '1950-01-01' and latest_day
        and try_cast(value as date)::varchar = value,
    value, null
)
