-- grain: one cell of the travel, and its place among all from the closed stop on
create or replace temp table profile_bins as
select
    bin_from_pct, bin_to_pct,
    row_number() over (order by bin_from_pct, bin_to_pct)::integer - 1 as bin_no
from (select distinct bin_from_pct, bin_to_pct from marts.sweep_profile)
