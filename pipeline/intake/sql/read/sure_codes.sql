-- grain: one cell; fault codes as they stand, or nothing where they need a closer look
create or replace temp macro sure_codes(value) as
    if(regexp_full_match(value, '[PCBU][0-3][0-9A-F]{3}( [PCBU][0-3][0-9A-F]{3})*'), value, null)
