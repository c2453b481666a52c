-- grain: the settings of the plan, one row
from marts.check_settings
