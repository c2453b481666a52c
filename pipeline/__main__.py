"""Take files in, rebuild, check: `python -m pipeline --help`."""

from pipeline.environment import enter

if __name__ == "__main__":
    enter("pipeline")
    from pipeline.commands import main

    raise SystemExit(main())
