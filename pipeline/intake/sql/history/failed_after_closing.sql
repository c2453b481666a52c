-- grain: one failure said to have come after its repair was closed
insert into blanks
select
    row_id, 'failed_on', cells['failed_on'],
    'after the repair was closed on ' || cells['closed_on'] || '; expected that day or earlier'
from candidates
where table_name = 'repair_outcomes' and cells['failed_on'] > cells['closed_on']
union all
select
    row_id, 'failed_km', cells['failed_km'],
    'more than the ' || cells['odometer_km'] || ' km at the repair; expected that or less'
from candidates
where table_name = 'repair_outcomes'
    and cells['failed_km']::double > cells['odometer_km']::double + 1
