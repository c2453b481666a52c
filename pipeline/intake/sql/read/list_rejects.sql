-- grain: one record that is not of the header's shape
insert into read_issues
select
    reject_lines.file_line, null, null, left(trim(any_value(errors.csv_line), chr(13) || chr(10)), 500),
    case any_value(errors.error_type)
        when 'MISSING COLUMNS' then 'too few values in this line: ' || any_value(errors.error_message)
        when 'TOO MANY COLUMNS' then 'too many values in this line: ' || any_value(errors.error_message)
        when 'UNQUOTED VALUE' then 'the quotes in this line do not pair up'
        when 'INVALID ENCODING' then 'this line is not UTF-8 text'
        else 'this line cannot be read: ' || any_value(errors.error_message)
    end,
    'row', 1
from reject_errors as errors
-- a record behind empty lines is rejected at the offset of the first of them
asof join reject_lines on errors.line_byte_position <= reject_lines.byte_position
group by reject_lines.file_line
order by reject_lines.file_line
