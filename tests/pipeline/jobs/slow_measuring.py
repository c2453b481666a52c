"""Measuring as on a slow machine, for the tests to interrupt."""

from __future__ import annotations

import os
import time
from pathlib import Path

from pipeline.jobs.measured_batch import Batch, measured_batch


def measured_slowly(batch: Batch) -> dict[str, bytes]:
    """What a build measures, slowly; its process leaves a file of its number."""
    if "SEEN_WORKERS" in os.environ:
        Path(os.environ["SEEN_WORKERS"], str(os.getpid())).touch()
    time.sleep(0.4)
    return measured_batch(batch)
