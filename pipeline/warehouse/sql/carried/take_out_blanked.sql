-- grain: one row of which cells were blanked since they contradicted its history
delete from intake.rows
where row_id in (select row_id from intake.rows_as_read)
