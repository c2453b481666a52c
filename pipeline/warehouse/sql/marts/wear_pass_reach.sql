-- grain: one pass of one sweep with drop-outs that do not wander with the lead
select
    passes.session_id, passes.pass_no, passes.from_pct, passes.to_pct, passes.speed_pct_per_s,
    measures.rate_hz
from marts.sweep_passes as passes
join marts.sweep_measures as measures using (session_id)
where measures.dropout_count > 0
    and measures.fault_nature <> 'wandering'
    and passes.from_pct is not null
    and passes.to_pct is not null
    and passes.speed_pct_per_s > 0
    and measures.rate_hz > 0
order by passes.session_id, passes.pass_no
