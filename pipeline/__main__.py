"""Take files in, rebuild, check: `python -m pipeline --help`."""

import sys

from pipeline.environment import enter

if __name__ == "__main__":
    said = sys.argv[1:2]
    enter(
        "pipeline",
        for_loggers=said == ["install-loggers"],
        for_cluster=said == ["install-cluster"],
    )
    from pipeline.commands import main

    raise SystemExit(main())
