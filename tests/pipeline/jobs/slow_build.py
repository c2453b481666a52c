"""The command line of the pipeline, measuring slowly, for the tests to interrupt."""

import sys

from pipeline.commands import main
from pipeline.jobs import measure
from tests.pipeline.jobs.slow_measuring import measured_slowly

if __name__ == "__main__":
    measure.measured_batch = measured_slowly
    measure.BATCH_SAMPLES = 1  # each sweep by itself
    raise SystemExit(main(sys.argv[1:]))
