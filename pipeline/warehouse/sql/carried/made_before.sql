-- grain: one view or table of a version, the views first since they rest on tables
select 'view' as kind, schema_name, view_name as name
from duckdb_views()
where database_name = current_database() and not internal
union all
select 'table', schema_name, table_name
from duckdb_tables()
where database_name = current_database() and not internal
order by kind desc, schema_name, name
