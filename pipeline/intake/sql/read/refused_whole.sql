-- grain: one reason for which a file was set aside whole
select reason
from read_issues
where effect = 'file'
