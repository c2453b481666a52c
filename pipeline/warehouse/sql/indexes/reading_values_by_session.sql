-- grain: one entry a row of marts.reading_values, by what pages look it up by
create index if not exists reading_values_by_session on marts.reading_values (session_id)
