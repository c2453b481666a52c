-- grain: one record, its line in the file in place of that which it has where each record is a line
update raw set line = numbers.file_line
from numbers
where raw.line = numbers.ordinal + 1
