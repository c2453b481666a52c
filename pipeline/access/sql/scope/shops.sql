-- grain: one of the asker's shops; none of an operator's
create table scope.shops as
select unnest(if($by_fleet::boolean, []::varchar[], $shops::varchar[])) as shop_id
