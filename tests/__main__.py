"""Set up and run the whole suite: `python3 -m tests` (arguments go to pytest)."""

import os
import sys

from pipeline.environment import CHECKOUT, enter

if __name__ == "__main__":
    enter("tests", for_tests=True)
    import pytest

    os.chdir(CHECKOUT)
    raise SystemExit(pytest.main(sys.argv[1:] or ["tests", "-q", "-n", "3", "--dist", "worksteal"]))
