-- grain: one date on an answer that puts nothing off
insert into blanks
select
    row_id, 'until', cells['until'],
    'a date stands only with put_off; expected a blank with ' || cells['answer']
from candidates
where table_name = 'advice_answers' and cells['answer'] <> 'put_off' and cells['until'] is not null
