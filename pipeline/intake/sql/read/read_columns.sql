-- grain: the file; names of its columns that the contract knows
select names
from read_columns
