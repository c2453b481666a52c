-- grain: one cell; an identifier as it stands, or nothing where it needs a closer look
create or replace temp macro sure_id(value) as
    if(regexp_full_match(value, '[A-Za-z0-9._-]{1,64}'), value, null)
