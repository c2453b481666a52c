-- grain: one quantity, as assumed and as learned
from marts.assumed_and_learned
