-- grain: one file and line that a row of the asker's came from
select rows.file_name || ':' || rows.line as place
from whole.intake.rows as rows
where rows.row_id in (select row_id from scope.own_rows)
    and rows.file_name || ':' || rows.line in (select unnest($keys::varchar[]))
