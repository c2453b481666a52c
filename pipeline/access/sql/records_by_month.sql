-- grain: one month and kind of record; months between the first and the last are there with none
with dated as (
    select 'tests' as kind, date_trunc('month', tested_at)::date as month from staging.test_sessions
    union all
    select 'repairs', date_trunc('month', closed_on)::date from staging.repair_outcomes
    union all
    select 'odometer', date_trunc('month', read_on)::date from staging.odometer
),

months as (
    select unnest(generate_series(min(month), max(month), interval 1 month))::date as month
    from dated
),

kinds as (
    select unnest(['tests', 'repairs', 'odometer']) as kind
)

select months.month, kinds.kind, count(dated.month)::bigint as record_count
from months
cross join kinds
left join dated on dated.month = months.month and dated.kind = kinds.kind
group by months.month, kinds.kind
order by months.month, kinds.kind
