-- grain: one table of the contract with rows in force, and how many
select table_name, count(*)
from intake.standing
group by table_name
order by table_name
