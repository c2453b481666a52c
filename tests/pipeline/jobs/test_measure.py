"""How sweeps to measure are cut into batches: by their samples alone, never by who works."""

import pandas as pd
import pytest

from pipeline.jobs import measure


def _batches(samples: int, sweeps: int) -> list[pd.DataFrame]:
    todo = pd.DataFrame({"session_id": range(sweeps), "sample_count": samples})
    return list(measure._batches(todo))


@pytest.mark.parametrize(
    ("sweeps", "batches"),
    [(0, 0), (1, 1), (20, 1), (100, 5), (800, 24), (10_000, 60)],
    ids=["none", "one", "a day's", "few", "hundreds", "many"],
)
def test_a_day_s_sweeps_are_one_batch_and_hundreds_are_enough_for_several_workers(sweeps, batches):
    found = _batches(12_000, sweeps)
    assert abs(len(found) - batches) <= 1
    assert [name for batch in found for name in batch["session_id"]] == list(range(sweeps))
    assert all(batch["sample_count"].sum() <= measure.BATCH_SAMPLES + 12_000 for batch in found)


def test_a_sweep_larger_than_a_batch_is_one_by_itself():
    assert [len(batch) for batch in _batches(5_000_000, 3)] == [1, 1, 1]
