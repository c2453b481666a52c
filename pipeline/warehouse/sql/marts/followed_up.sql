-- grain: one sign in a test: how many such tests led to a repair that said yes or no, how many yes
create table marts.followed_up as
with answered as (
    select
        tests.verdict, tests.conclusion, coalesce(tests.band_chance >= 0.9, false) as worn,
        answered.answer = 'defect' as confirmed
    from marts.answered_tests as answered
    join marts.tests as tests using (session_id)
    where answered.led_to_it
),

signs as (
    -- a worn band says more than the sign that came with it, which then is that of the others
    select 'worn_band' as sign, confirmed from answered
    where worn and (verdict in ('fail', 'suspect') or conclusion = 'dropouts_seen')
    union all
    select 'fail', confirmed from answered where verdict = 'fail' and not worn
    union all
    select 'suspect', confirmed from answered where verdict = 'suspect' and not worn
    union all
    select 'dropouts_seen', confirmed from answered
    where conclusion = 'dropouts_seen' and not worn
)

select sign, count(*) as followed_up, count(*) filter (confirmed) as confirmed
from signs
group by sign
order by sign
