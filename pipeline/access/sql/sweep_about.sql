-- grain: one bench test that has a sweep: where its samples lie and how they are scaled
select
    contexts.session_id, contexts.samples_name, contexts.sweep_channel, contexts.supply_v,
    contexts.track_ohm, measures.travel_source, measures.closed_output, measures.open_output
from marts.sweep_contexts as contexts
join marts.sweep_measures as measures using (session_id)
where contexts.session_id = $session_id
