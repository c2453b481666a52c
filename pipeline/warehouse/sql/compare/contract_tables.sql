-- grain: one table of the records that stand, by name
select table_name
from information_schema.tables
where table_schema = 'staging'
order by table_name
