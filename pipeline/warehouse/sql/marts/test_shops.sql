-- grain: one accepted bench test, with the shop and the fleet whose record it is
-- The shop that made it; where none is named, the one whose bike it was on that day.
create table marts.test_shops as
select
    tests.session_id, tests.sensor_id, tests.unit_id, tests.tested_on, tests.part_no,
    coalesce(bikes.duty, 'none') as duty,
    coalesce(tests.shop_id, spans.shop_id) as shop_id, spans.fleet_id,
    good.session_id is not null as good
from marts.tests as tests
join marts.bikes as bikes using (unit_id)
left join marts.bike_shops as spans
    on spans.unit_id = tests.unit_id
    and (spans.from_on is null or spans.from_on <= tests.tested_on)
    and (spans.to_on is null or tests.tested_on < spans.to_on)
left join marts.good_tests as good on good.session_id = tests.session_id
