-- grain: one session's sweep, as it stands, and the handed-in file that its samples came in
select
    standing.row_key as session_id, rows.row_hash as samples_hash, rows.row_count as sample_count,
    rows.hand_in, rows.file_no
from to_stage as standing
join intake.rows using (row_id)
where standing.table_name = 'sweeps'
