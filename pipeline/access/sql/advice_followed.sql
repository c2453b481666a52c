-- grain: one action: how often it was advised, what the shop did within 180 days, what happened
from marts.advice_followed order by action
