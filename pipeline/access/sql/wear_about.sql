-- grain: the one row that says what the wear map rests on
from marts.wear_about
