-- grain: one calendar window that ends before it begins
insert into fates
select
    row_id, 'broken', 'free_to', cells['free_to'],
    'before free_from ' || cells['free_from'] || '; expected that day or later'
from candidates
where table_name = 'calendar' and cells['free_to'] < cells['free_from']
