-- grain: one maker's limit whose lower end lies above its upper
insert into blanks
select
    row_id, end_name, candidates.cells[end_name],
    'the lower limit lies above the upper (' || candidates.cells[rule.low] || ' above '
        || candidates.cells[rule.high] || ' V); expected lower, then upper'
from candidates
cross join (values
    ('maker_closed_v_low', 'maker_closed_v_high'), ('maker_open_v_low', 'maker_open_v_high')
) as rule(low, high)
cross join unnest([rule.low, rule.high]) as ends(end_name)
where table_name = 'parts'
    and candidates.cells[rule.low]::double > candidates.cells[rule.high]::double
