-- grain: one entry a row of marts.tests, by what pages look it up by
create index tests_by_session on marts.tests (session_id)
