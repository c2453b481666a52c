-- grain: one reading of a test that reads otherwise than before, or is there no more
delete from marts.reading_values
where session_id in (
    select session_id
    from (from marts.static_readings_before except from marts.static_readings)
)
