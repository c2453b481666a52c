-- grain: one answer to an advice that lacks what its kind needs
insert into fates
select
    row_id, 'broken', 'reason', null,
    'blank; expected a reason, since the advice is ' || if(cells['answer'] = 'overrule', 'overruled', 'put off')
from candidates
where table_name = 'advice_answers' and cells['answer'] in ('put_off', 'overrule')
    and cells['reason'] is null
union all
select
    row_id, 'broken', 'until', cells['until'],
    if(cells['until'] is null, 'blank; expected the date until which the advice is put off',
        'not after the day of the answer, ' || cells['answered_at'][:10] || '; expected a later date')
from candidates
where table_name = 'advice_answers' and cells['answer'] = 'put_off'
    and coalesce(cells['until'] <= cells['answered_at'][:10], true)
