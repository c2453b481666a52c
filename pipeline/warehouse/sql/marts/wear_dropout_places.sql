-- grain: one drop-out within a pass, of a sweep whose drop-outs do not wander with the lead
select dropouts.session_id, dropouts.travel_pct, dropouts.pass_no
from marts.sweep_dropouts as dropouts
join marts.sweep_measures as measures using (session_id)
where measures.fault_nature <> 'wandering'
    and dropouts.travel_pct is not null
    and dropouts.pass_no is not null
order by dropouts.session_id, dropouts.dropout_no
