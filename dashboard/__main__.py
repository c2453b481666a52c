"""Set up and serve the dashboard: `python3 -m dashboard`."""

from pipeline.environment import enter

if __name__ == "__main__":
    enter("dashboard")
    from dashboard.start import main

    raise SystemExit(main())
