-- grain: one good range: part number x reading
from marts.bands
where part_no in (select unnest($parts::varchar[]))
order by part_no, reading
