-- grain: one chance that a pass over a worn spot lifts the wiper
from marts.wear_lift
order by chance
