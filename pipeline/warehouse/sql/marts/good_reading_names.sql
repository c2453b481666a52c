-- grain: one name of a reading, and its place among these
create or replace temp table good_reading_names as
select unnest($names) as reading, unnest(range(len($names)))::integer as reading_no
