"""A batch measured from bytes to bytes: what measuring frames of the same sweeps comes to."""

import io
import subprocess
import sys

import numpy as np
import pandas as pd
import pytest

from models.sweeps import schemas
from models.sweeps.measure import measure_sweeps
from pipeline.environment import CHECKOUT
from pipeline.jobs.measure import RESULTS
from pipeline.jobs.measured_batch import measured_batch
from pipeline.kept_sweeps.packed import packed
from pipeline.kept_sweeps.part_format import write_part
from tests.models.sweeps.synthetic import healthy, worn
from tests.pipeline.kept_sweeps.test_packed import kept_sweep

SWEEPS = {"T1": healthy(seed=1)[:2], "T2": worn(seed=2)[:2], "T3": healthy(seed=3)[:2]}


@pytest.fixture
def batch(tmp_path):
    """Three sweeps in two files, and a test of which no sample is there."""
    for part, names in (("a", ["T1", "T3"]), ("b", ["T2"])):
        write_part(tmp_path / part, [kept_sweep(name, *SWEEPS[name]) for name in names])
    contexts = schemas.CONTEXTS.empty().reindex(range(4)).assign(
        session_id=["T1", "T2", "T3", "T4"], sweep_channel="volt", supply_v=5.0,
        measure_key=["k1", "k2", "k3", "k4"],
    )  # fmt: skip
    return [packed(tmp_path / "a", ["T1", "T3", "T4"]), packed(tmp_path / "b", ["T2"])], contexts


def _samples() -> pd.DataFrame:
    frames = [
        pd.DataFrame({"session_id": name, "sample_no": np.arange(t.size), "t_s": t, "signal": y})
        for name, (t, y) in SWEEPS.items()
    ]
    together = pd.concat(frames, ignore_index=True).assign(signal_b=np.nan, travel_pct=np.nan)
    return schemas.SAMPLES.check(together)


def test_results_are_those_of_measuring_frames_each_under_its_key(batch):
    wanted = vars(measure_sweeps(_samples(), batch[1]))
    found = measured_batch(batch)
    assert list(found) == list(RESULTS)
    for name, written in found.items():
        frame = pd.read_parquet(io.BytesIO(written))
        keys = frame.pop("measure_key")
        assert keys.tolist() == frame["session_id"].str.replace("T", "k").tolist()
        by = [*frame.columns]
        pd.testing.assert_frame_equal(
            RESULTS[name].check(frame).sort_values(by, ignore_index=True),
            wanted[name].sort_values(by, ignore_index=True),
            check_exact=True,
        )
    assert len(wanted["measures"]) == 4
    assert len(wanted["dropouts"]) > 0


def test_the_same_batch_gives_the_same_bytes(batch):
    assert measured_batch(batch) == measured_batch(batch)


def test_whoever_only_measures_does_without_duckdb():
    asked = "import sys, pipeline.jobs.measured_batch; print('duckdb' in sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", asked], cwd=CHECKOUT, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "False"
