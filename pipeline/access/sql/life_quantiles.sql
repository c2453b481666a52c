-- grain: one group of sensors and one share with a defect
from marts.life_quantiles
