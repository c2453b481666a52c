-- grain: one entry a row of marts.bikes, by what pages look it up by
create index bikes_by_unit on marts.bikes (unit_id)
