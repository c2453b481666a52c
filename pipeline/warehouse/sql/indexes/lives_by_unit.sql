-- grain: one entry a row of marts.sensor_lives, by what pages look it up by
create index lives_by_unit on marts.sensor_lives (unit_id)
