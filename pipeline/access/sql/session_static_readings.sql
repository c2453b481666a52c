-- grain: one bench test, its readings at rest, as the checks take them
from marts.static_readings where session_id = $session_id
