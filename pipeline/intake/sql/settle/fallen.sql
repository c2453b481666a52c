-- grain: one row that has fallen by the rules so far
create or replace temp table fallen as
select distinct row_id
from fates
