-- grain: the file of records: calendar windows, when every one has passed
select 'All ' || count(*) || ' calendar windows have passed (the last ended on ' || max(free_to)
    || '): no time is known in which a bike can be spared.' as notice
from staging.calendar
having count(*) > 0 and max(free_to) < $as_of
