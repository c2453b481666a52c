-- grain: one column of one file that was left out
select file_name || ': column ' || column_name || ': ' || reason
from intake.read_issues
where hand_in = $hand_in and effect = 'notice'
order by file_no, column_name
