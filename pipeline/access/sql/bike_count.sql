-- grain: the home; bikes on record
select count(*)::bigint as bike_count from staging.units
