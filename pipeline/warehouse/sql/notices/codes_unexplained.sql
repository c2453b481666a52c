-- grain: the file of records: circuit codes read though the plug was not off with the key on, and the test passed
select count(*) || ' passed tests carry a throttle circuit code that unplugging does not explain, for example '
    || list_aggregate(list_slice(list(session_id order by tested_at desc, session_id), 1, 5), 'string_agg', ', ') || '.' as notice
from marts.tests
where verdict = 'pass' and unplugged_key_on = 'no'
    and regexp_matches(fault_codes, 'P012[0-4]|P022[0-4]|P2135')
having count(*) > 0
