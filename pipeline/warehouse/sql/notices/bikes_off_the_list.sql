-- grain: one bike that records speak of but the worklist cannot show
select 'Bike ' || waiting.unit_id || ' is not on this list: ' || min_by(sentence, (row_id, sentence)) || '.' as notice
from marts.waiting
where stands_aside and waiting.unit_id not in (select unit_id from marts.sensors_now)
    and waiting.unit_id not in (select unit_id from marts.bikes where out_of_service)
group by waiting.unit_id
order by waiting.unit_id
