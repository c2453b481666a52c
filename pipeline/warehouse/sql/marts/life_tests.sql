-- grain: one test with all that is known of it, and the life of its sensor that it belongs to
create view marts.life_tests as
select lives.life_id, tests.*
from marts.tests as tests
join marts.test_lives as lives using (session_id)
