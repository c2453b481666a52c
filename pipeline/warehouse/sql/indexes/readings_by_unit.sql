-- grain: one entry a row of marts.readings, by what pages look it up by
create index readings_by_unit on marts.readings (unit_id)
