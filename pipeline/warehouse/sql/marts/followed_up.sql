-- grain: one sign in a test: how many such tests led to a repair that said yes or no, how many yes
create table marts.followed_up as
with answered as (
    select
        any_value(tests.verdict) as verdict, any_value(tests.conclusion) as conclusion,
        bool_or(repairs.event is not null) as confirmed
    from marts.tests as tests
    join marts.repairs as repairs using (session_id)
    where repairs.event is not null or repairs.fault_confirmed = 'no'
    group by tests.session_id
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
