-- grain: one file of one hand-in that was set aside whole
select accounting.file_name, issues.reason
from intake.accounting
join intake.read_issues as issues using (hand_in, file_no)
where hand_in = $hand_in and accounting.broken_whole and issues.effect = 'file'
order by accounting.file_no
