-- grain: one sign in a test: how many such tests led to a repair that said yes or no, how many yes
create table marts.followed_up as
with answered as (
    select tests.verdict, tests.conclusion, answered.answer = 'defect' as confirmed
    from marts.answered_tests as answered
    join marts.tests as tests using (session_id)
    where answered.led_to_it
),

signs as (
    select 'fail' as sign, confirmed from answered where verdict = 'fail'
    union all
    select 'suspect', confirmed from answered where verdict = 'suspect'
    union all
    select 'dropouts_seen', confirmed from answered where conclusion = 'dropouts_seen'
)

select sign, count(*) as followed_up, count(*) filter (confirmed) as confirmed
from signs
group by sign
order by sign
