-- grain: one of an operator's fleets; none of anybody else's
create table scope.fleets as
select unnest(if($by_fleet::boolean, $fleets::varchar[], []::varchar[])) as fleet_id
