-- grain: one handed-in file that a warehouse holds
select hand_in, file_no, file_name
from intake.files
