-- grain: one fit of the parameters: cost ahead with the advice followed and without any work
from marts.expected_cost
order by draw
