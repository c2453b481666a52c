-- grain: the hand-in; rows it set aside that a later row of the same key already settles
select coalesce(sum(outcomes.row_count), 0)::bigint
from intake.row_outcomes as outcomes
anti join intake.set_aside using (row_id)
where outcomes.hand_in = $hand_in and outcomes.outcome in ('broken', 'waiting')
