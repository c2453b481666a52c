-- grain: the looking back as a whole
from marts.backtest_about
