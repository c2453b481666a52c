-- grain: one repair that says the sensor proved faulty, yet neither replaced nor cleaned it
select 'Repair ' || outcome_id || ' says that the sensor proved faulty, yet the action is '
    || replace(action, '_', ' ') || '; it is not counted as a defect.' as notice
from staging.repair_outcomes
where fault_confirmed = 'yes' and action not in ('sensor_replaced', 'sensor_cleaned')
order by outcome_id
