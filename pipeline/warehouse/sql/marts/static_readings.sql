-- grain: one bench test, its readings at rest, as the checks take them
create table marts.static_readings as
select
    tests.session_id, tests.sensor_id, tests.part_no, tests.kind, tests.tracks, tests.output,
    parts.supply_nominal_v, parts.maker_closed_v_low, parts.maker_closed_v_high,
    parts.maker_open_v_low, parts.maker_open_v_high,
    tests.supply_v, tests.supply_to_ground_v, tests.track_ohm, tests.closed_ohm, tests.open_ohm,
    tests.closed_v, tests.open_v, tests.closed_pct, tests.open_pct, tests.corrosion,
    tests.wiggle_test, tests.fault_codes, tests.unplugged_key_on, tests.verdict
from marts.tests as tests
join staging.parts using (part_no)
order by tests.session_id
