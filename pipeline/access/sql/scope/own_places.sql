-- grain: one file and line that a row of the asker's came from
select own.file_name || ':' || own.line as place
from scope.own_rows as own
where own.file_name || ':' || own.line in (select unnest($keys::varchar[]))
