-- grain: one sensitivity of a bench test and one action
from marts.advice_over_sensitivity
order by sensitivity, action
