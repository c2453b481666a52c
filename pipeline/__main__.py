"""Take files in, rebuild, check: `python -m pipeline --help`."""

import sys

from pipeline.environment import enter

if __name__ == "__main__":
    enter("pipeline", for_loggers=sys.argv[1:2] == ["install-loggers"])
    from pipeline.commands import main

    raise SystemExit(main())
