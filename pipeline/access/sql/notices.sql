-- grain: one oddity in the records
select notice from marts.notices order by notice_no
