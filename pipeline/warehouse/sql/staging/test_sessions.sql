-- grain: one bench test of one sensor, as it stands
create table staging.test_sessions as
select
    row_id,
    cells['session_id'] as session_id,
    cells['sensor_id'] as sensor_id,
    cells['shop_id'] as shop_id,
    cells['tested_at']::timestamptz as tested_at,
    cells['tested_at'] as tested_at_text,
    cells['tested_at'][:10]::date as tested_on,
    cells['odometer_km']::double as odometer_km,
    cells['reason'] as reason,
    cells['symptom'] as symptom,
    cells['technician'] as technician,
    cells['supply_v']::double as supply_v,
    cells['supply_to_ground_v']::double as supply_to_ground_v,
    cells['track_ohm']::double as track_ohm,
    cells['closed_ohm']::double as closed_ohm,
    cells['open_ohm']::double as open_ohm,
    cells['closed_v']::double as closed_v,
    cells['open_v']::double as open_v,
    cells['closed_pct']::double as closed_pct,
    cells['open_pct']::double as open_pct,
    cells['corrosion'] as corrosion,
    cells['wiggle_test'] as wiggle_test,
    cells['fault_codes'] as fault_codes,
    cells['unplugged_key_on'] as unplugged_key_on,
    cells['sweep_channel'] as sweep_channel,
    cells['meter_load_ohm']::double as meter_load_ohm,
    cells['temp_c']::double as temp_c,
    cells['verdict'] as verdict,
    cells['note'] as note
from intake.standing
where table_name = 'test_sessions'
