-- grain: one group of samples without a session to belong to
insert into read_issues
select
    line, row_key, 'session_id', row_key,
    if(row_key is null, 'blank; every sample needs its session',
        'expected 1 to 64 of letters, digits, . _ -')
        || ' (' || row_count || ' samples)',
    'row', row_count
from read_rows
where row_key is null or not regexp_full_match(row_key, '[A-Za-z0-9._-]{1,64}')
