-- grain: one part number found on a model and mount that the fitments do not list
select 'Part ' || lives.part_no || ' stands on ' || count(*) || ' sensors of model ' || bikes.model_code
    || ', mount ' || lives.mount || ', but the fitments do not list it there.' as notice
from marts.sensor_lives as lives
join marts.bikes using (unit_id)
where exists (select 1 from staging.fitments)
    and (lives.part_no, bikes.model_code, lives.mount)
        not in (select (part_no, model_code, mount) from staging.fitments)
group by lives.part_no, bikes.model_code, lives.mount
order by lives.part_no
