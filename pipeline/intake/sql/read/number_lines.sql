-- grain: one record, its line in the file in place of its ordinal
update raw set line = numbers.file_line
from numbers
where raw.line = numbers.ordinal
