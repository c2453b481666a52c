"""What is remembered of sensors from build to build: only what rests on the same fit and code."""

import numpy as np
import pytest

from pipeline.jobs.progress import LongWork
from pipeline.jobs.workers import ONE, Workers
from pipeline.warehouse import kept_spreads
from pipeline.warehouse.kept_spreads import AT_ONCE, remembered

KEYS = np.array([[1, 2], [3, 4], [2**63 + 5, 6]], dtype=np.uint64)


def _made(asked):
    def make(places):
        asked.append(list(places))
        return np.column_stack([places * 1.0, places * 10.0])

    return make


def test_only_what_is_not_there_is_worked_out(tmp_path):
    asked: list = []
    remember = remembered(tmp_path, "fit 1", LongWork())
    first = remember("spreads", KEYS[:2], _made(asked))
    again = remember("spreads", KEYS[[1, 2, 0]], _made(asked))
    assert asked == [[0, 1], [1]]
    assert first.tolist() == [[0, 0], [1, 10]]
    assert again.tolist() == [[1, 10], [1, 10], [0, 0]]
    assert remember("spreads", KEYS[[1, 2, 0]], _made(asked)).tolist() == again.tolist()
    assert len(asked) == 2


def test_another_fit_other_code_and_a_damaged_file_are_worked_out_anew(tmp_path, monkeypatch):
    asked: list = []
    remembered(tmp_path, "fit 1", LongWork())("spreads", KEYS, _made(asked))
    remembered(tmp_path, "fit 2", LongWork())("spreads", KEYS, _made(asked))
    monkeypatch.setattr(kept_spreads, "code_version", lambda: "other")
    remembered(tmp_path, "fit 2", LongWork())("spreads", KEYS, _made(asked))
    assert len(asked) == 3
    (tmp_path / "spreads_rows.parquet").write_bytes(b"cut short")
    remembered(tmp_path, "fit 2", LongWork())("spreads", KEYS, _made(asked))
    assert len(asked) == 4


def test_a_folder_that_cannot_be_written_is_said_and_done_without(tmp_path):
    (tmp_path / "file").write_text("")
    said, asked = [], []
    found = remembered(tmp_path / "file", "fit", LongWork(say=said.append))(
        "spreads", KEYS, _made(asked)
    )
    assert found.shape == (3, 2)
    assert "could not be kept" in said[0]


@pytest.mark.parametrize("workers", [ONE, Workers(2)], ids=["one", "two"])
def test_many_sensors_are_worked_out_some_at_a_time_whoever_does_it(tmp_path, workers):
    keys = np.arange(2 * (2 * AT_ONCE + 7), dtype=np.uint64).reshape(-1, 2)
    power = 1.37

    def make(places):
        assert len(places) <= AT_ONCE
        return np.column_stack([np.exp(places / 7e3) ** power, places])

    found = remembered(tmp_path, "fit", LongWork(workers))("spreads", keys, make)
    everything = np.arange(len(keys))
    expected = np.column_stack([np.exp(everything / 7e3) ** power, everything])
    assert found.tobytes() == expected.astype(np.float32).tobytes()
