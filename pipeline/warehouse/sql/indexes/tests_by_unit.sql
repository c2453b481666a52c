-- grain: one entry a row of marts.tests, by what pages look it up by
create index tests_by_unit on marts.tests (unit_id)
