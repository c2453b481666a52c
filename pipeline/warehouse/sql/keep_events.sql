-- grain: one visit as it stands in calendars, of one published version
copy (from marts.check_events order by on_day, uid) to $path (format parquet, compression zstd)
