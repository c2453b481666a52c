-- grain: one row: tests of sensors that were sound, and how many of these the test condemned
create table marts.tests_of_sound_sensors as
select
    count(*) as sound_tests,
    count(*) filter (condemned) as condemned_tests
from (
    select
        tests.verdict = 'fail' and answered.answer = 'sound' as condemned
    from marts.tests as tests
    left join marts.answered_tests as answered using (session_id)
    where tests.defect_found = 'without'
        or (tests.verdict = 'fail' and answered.answer = 'sound' and answered.led_to_it)
)
