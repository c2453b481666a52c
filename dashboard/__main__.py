"""Set up and serve the dashboard: `python3 -m dashboard`."""

import sys

from pipeline.environment import enter

if __name__ == "__main__":
    enter("dashboard", for_network="--network" in sys.argv[1:])
    from dashboard.start import main

    raise SystemExit(main())
