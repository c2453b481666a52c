-- grain: one sweep measured before that does not stand as it stood then, or is measured anew
create or replace temp table other_sweeps as
select before.session_id
from marts.sweep_contexts_before as before
left join marts.sweep_contexts as now using (session_id)
where now.measure_key is distinct from before.measure_key
    or before.measure_key in (select measure_key from measured_now)
