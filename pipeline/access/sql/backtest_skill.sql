-- grain: one way to rank sensors or to state chances
from marts.backtest_skill
