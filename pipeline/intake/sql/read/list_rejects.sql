-- grain: one record that is not of the header's shape
insert into read_issues
select
    reject_lines.file_line, any_value(reject_lines.row_key), null,
    left(any_value(reject_lines.record), 500),
    case any_value(errors.error_type)
        when 'MISSING COLUMNS' then 'too few values in this line'
        when 'TOO MANY COLUMNS' then 'too many values in this line'
        when 'UNQUOTED VALUE' then 'the quotes in this line do not pair up'
        when 'INVALID ENCODING' then case
            when contains(any_value(reject_lines.record), '�') then 'this line is not UTF-8 text'
            when contains(any_value(reject_lines.record), chr(13)) then 'a carriage return stands alone in this line'
            else 'the quotes in this line do not pair up'
        end
        when 'LINE SIZE OVER MAXIMUM' then 'this line is too long'
        else 'this line cannot be read'
    end || '; expected one value for each of the header''s ' || $columns || ' columns, in UTF-8',
    'row', 1
from reject_errors as errors
-- a record behind empty lines is rejected at the offset of the first of them
asof join reject_lines on errors.line_byte_position <= reject_lines.byte_position
group by reject_lines.file_line
order by reject_lines.file_line
