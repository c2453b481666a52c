-- grain: one sensor in service, as the risk model takes it
create table marts.sensors_now as
select
    coalesce(spans.life_id, lives.sensor_id) as life_id,
    lives.sensor_id, lives.unit_id, lives.part_no, bikes.duty,
    coalesce(spans.repaired, false) as repaired, lives.age_known, lives.kind,
    coalesce(windows.entry_km, 0) as entry_km,
    if(bikes.odometer_now_km >= lives.zero_km, bikes.odometer_now_km - lives.zero_km,
        bikes.odometer_now_km * 0) as age_now_km,
    if(windows.tested_good, windows.good_km, null) as good_km,
    last_tests.verdict as last_verdict, last_tests.conclusion as last_conclusion
from marts.sensor_lives as lives
join marts.bikes using (unit_id)
left join marts.sensor_spans as spans
    on spans.sensor_id = lives.sensor_id and spans.next_from_on is null
left join marts.life_windows as windows using (life_id)
left join marts.last_tests on last_tests.sensor_id = lives.sensor_id
where lives.in_service
