-- grain: one closed repair, as it stands
select
    row_id,
    cells['outcome_id'] as outcome_id,
    cells['sensor_id'] as sensor_id,
    cells['session_id'] as session_id,
    cells['closed_on']::date as closed_on,
    cells['odometer_km']::double as odometer_km,
    cells['action'] as action,
    cells['fault_confirmed'] as fault_confirmed,
    cells['confirmed_by'] as confirmed_by,
    cells['on_road'] as on_road,
    cells['failed_on']::date as failed_on,
    cells['failed_km']::double as failed_km,
    cells['parts_cost']::double as parts_cost,
    cells['labour_hours']::double as labour_hours,
    cells['days_off_road']::double as days_off_road,
    cells['comeback_of'] as comeback_of,
    cells['relearn_done'] as relearn_done
from to_stage
where table_name = 'repair_outcomes'
