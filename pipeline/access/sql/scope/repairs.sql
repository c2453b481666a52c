-- grain: one closed repair that is the asker's: of the shop whose test it names, else of its bike's
create table scope.repairs as
select repairs.outcome_id
from whole.staging.repair_outcomes as repairs
join whole.marts.sensor_lives as lives using (sensor_id)
left join whole.marts.test_shops as tests on tests.session_id = repairs.session_id
where case
    when not $by_fleet::boolean and tests.shop_id is not null
        then tests.shop_id in (select unnest($shops::varchar[]))
    else exists (
        select 1
        from scope.spans as spans
        where spans.unit_id = lives.unit_id
            and (spans.from_on is null or spans.from_on <= repairs.closed_on)
            and (spans.to_on is null or repairs.closed_on < spans.to_on)
    )
end
