-- grain: one file; how many samples it has, and in how many a time and a signal can be read
select count(*), count(t_s), count(signal)
from samples
