-- grain: one sensor in service, as the risk model takes it
create table marts.sensors_now as
select
    coalesce(spans.life_id, lives.sensor_id) as life_id,
    lives.sensor_id, lives.unit_id, lives.part_no, bikes.duty,
    coalesce(spans.repaired, false) as repaired, lives.age_known, lives.kind,
    coalesce(windows.entry_km, 0) as entry_km,
    case
        when bikes.odometer_now_km is null or lives.zero_km is null then null
        else greatest(bikes.odometer_now_km - lives.zero_km, 0)
    end as age_now_km,
    if(windows.tested_good, windows.good_km, null) as good_km,
    -- a fleet would hear of a road failure without a reading
    if(bikes.fleet_id is not null,
        greatest(bikes.odometer_now_km - lives.zero_km, contacts.seen_km), contacts.seen_km)
        as contact_km,
    last_tests.odometer_km - lives.zero_km as last_test_km,
    -- a repair that found the sensor itself sound answers what the last test had raised
    if(answered.answer is distinct from 'sound', last_tests.verdict, null) as last_verdict,
    if(answered.answer is distinct from 'sound', last_tests.conclusion, null) as last_conclusion,
    coalesce(last_tests.band_chance >= 0.9, false) as last_band,
    bikes.usual_km_per_day as km_per_day, bikes.shop_id,
    coalesce(spans.earlier_repairs, 0) as earlier_repairs,
    -- when its km were run, for the season
    windows.entry_on,
    if(windows.tested_good, windows.good_on, null) as good_on,
    if(bikes.odometer_now_km is null, null, $as_of) as now_on
from marts.sensor_lives as lives
join marts.bikes using (unit_id)
left join marts.sensor_spans as spans
    on spans.sensor_id = lives.sensor_id and spans.ended_by is null
left join marts.life_windows as windows using (life_id)
left join marts.contacts on contacts.life_id = spans.life_id
left join marts.last_tests on last_tests.sensor_id = lives.sensor_id
left join marts.answered_tests as answered on answered.session_id = last_tests.session_id
where lives.in_service
