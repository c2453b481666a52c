"""Measuring as on a slow machine, for the tests to interrupt."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pandas as pd

from models.sweeps.measure import SweepResults, measure_sweeps


def measured_slowly(loaded: tuple[pd.DataFrame, pd.DataFrame]) -> SweepResults:
    """What a build measures, slowly; its process leaves a file of its number."""
    if "SEEN_WORKERS" in os.environ:
        Path(os.environ["SEEN_WORKERS"], str(os.getpid())).touch()
    time.sleep(0.4)
    return measure_sweeps(*loaded)
