-- grain: one session's sweep, as it stands, and the file its samples are kept in
create table staging.sweeps as
select
    standing.row_key as session_id, rows.row_hash as samples_hash, rows.row_count as sample_count,
    files.samples_name
from intake.standing
join intake.rows using (row_id)
join intake.files on files.hand_in = rows.hand_in and files.file_no = rows.file_no
where standing.table_name = 'sweeps'
