-- grain: one row that is accepted
select row_id from intake.row_outcomes where outcome in ('new', 'replacing', 'unchanged')
