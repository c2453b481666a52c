-- grain: one cell; its text without the blanks around it, or nothing
create or replace temp macro sure_text(value) as nullif(trim(value), '')
