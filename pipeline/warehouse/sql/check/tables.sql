-- grain: one table of a warehouse
select schema_name, table_name
from duckdb_tables()
where database_name = current_database()
order by schema_name, table_name
