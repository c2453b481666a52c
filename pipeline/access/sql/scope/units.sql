-- grain: one bike that is the asker's shops' or fleets' now
create table scope.units as
select distinct unit_id from scope.spans where to_on is null
