-- grain: the file; names of its columns that the contract knows, in the order of their letters
create or replace temp table read_columns as
select $names::varchar[] as names
