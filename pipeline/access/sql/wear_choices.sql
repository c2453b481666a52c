-- grain: one part and duty (all: any) of the wear map
from marts.wear_gathered
order by part_no <> 'all', part_no, duty <> 'all', duty
