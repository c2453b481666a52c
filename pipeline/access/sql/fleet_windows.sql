-- grain: one window in which one bike can be spared that has not passed
select calendar.unit_id, bikes.label, calendar.free_from, calendar.free_to
from staging.calendar as calendar
join marts.bikes as bikes using (unit_id)
where calendar.free_to >= $as_of
order by calendar.free_from, bikes.label, calendar.unit_id, calendar.free_to
