-- grain: one closed repair and what it counts as: defect, road_failure (a defect too) or neither
create table marts.repairs as
select
    repairs.*,
    case
        when defects.road_failure then 'road_failure'
        when defects.outcome_id is not null then 'defect'
    end as event
from staging.repair_outcomes as repairs
left join marts.defects using (outcome_id)
