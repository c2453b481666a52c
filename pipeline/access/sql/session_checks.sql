-- grain: one check of the bench test, in the order of reasoning
from marts.checks where session_id = $session_id order by step
