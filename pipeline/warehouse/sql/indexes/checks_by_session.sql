-- grain: one entry a row of marts.checks, by what pages look it up by
create index checks_by_session on marts.checks (session_id)
