-- grain: one file that samples of standing sweeps are kept in
select distinct samples_name
from marts.sweep_parts
order by samples_name
