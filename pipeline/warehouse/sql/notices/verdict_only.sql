-- grain: the file of records: replacements that rest on the failed verdict alone
select count(*) || ' replacements or cleanings rest on the failed verdict alone (confirmed_by is '
    || 'verdict_only): they are not counted as defects, so that the risk may be understated. '
    || 'A bench retest of the removed sensor, or opening it, would settle each.' as notice
from staging.repair_outcomes
where fault_confirmed = 'yes' and confirmed_by = 'verdict_only'
    and action in ('sensor_replaced', 'sensor_cleaned')
having count(*) > 0
