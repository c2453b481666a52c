-- grain: the database; how many tables it has of one name, which is one or none
select count(*)
from duckdb_tables()
where database_name = current_database() and schema_name = $schema and table_name = $table
