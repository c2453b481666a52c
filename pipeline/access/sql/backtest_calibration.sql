-- grain: one group of sensors looked on after some dates
from marts.backtest_calibration
