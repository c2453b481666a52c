-- grain: one row that waits for its parent
select row_id from intake.row_outcomes where outcome = 'waiting'
