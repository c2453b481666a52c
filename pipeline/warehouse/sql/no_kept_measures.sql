-- grain: the same of a home in which no measurement is kept
create or replace temp table kept_measures (measure_key varchar, filename varchar)
