-- grain: one action advised and one answer to it: what was done within 180 days, and what failed
from marts.answers_followed order by action, answer
