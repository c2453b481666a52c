"""What is remembered of sensors from build to build: only what rests on the same fit and code."""

import numpy as np

from pipeline.warehouse import kept_spreads
from pipeline.warehouse.kept_spreads import remembered

KEYS = np.array([[1, 2], [3, 4], [2**63 + 5, 6]], dtype=np.uint64)


def _made(asked):
    def make(places):
        asked.append(list(places))
        return np.column_stack([places * 1.0, places * 10.0])

    return make


def test_only_what_is_not_there_is_worked_out(tmp_path):
    asked: list = []
    remember = remembered(tmp_path, "fit 1", print)
    first = remember("spreads", KEYS[:2], _made(asked))
    again = remember("spreads", KEYS[[1, 2, 0]], _made(asked))
    assert asked == [[0, 1], [1]]
    assert first.tolist() == [[0, 0], [1, 10]]
    assert again.tolist() == [[1, 10], [1, 10], [0, 0]]
    assert remember("spreads", KEYS[[1, 2, 0]], _made(asked)).tolist() == again.tolist()
    assert len(asked) == 2


def test_another_fit_other_code_and_a_damaged_file_are_worked_out_anew(tmp_path, monkeypatch):
    asked: list = []
    remembered(tmp_path, "fit 1", print)("spreads", KEYS, _made(asked))
    remembered(tmp_path, "fit 2", print)("spreads", KEYS, _made(asked))
    monkeypatch.setattr(kept_spreads, "code_version", lambda: "other")
    remembered(tmp_path, "fit 2", print)("spreads", KEYS, _made(asked))
    assert len(asked) == 3
    (tmp_path / "spreads_rows.parquet").write_bytes(b"cut short")
    remembered(tmp_path, "fit 2", print)("spreads", KEYS, _made(asked))
    assert len(asked) == 4


def test_a_folder_that_cannot_be_written_is_said_and_done_without(tmp_path):
    (tmp_path / "file").write_text("")
    said, asked = [], []
    found = remembered(tmp_path / "file", "fit", said.append)("spreads", KEYS, _made(asked))
    assert found.shape == (3, 2)
    assert "could not be kept" in said[0]
