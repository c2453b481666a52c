from __future__ import annotations

import numpy as np
import pytest

from pipeline.warehouse import kept_states as module
from pipeline.warehouse.kept_fit import damaged_frames
from pipeline.warehouse.kept_states import keep_states, kept_states

KEYS = np.array([[5, 1], [2, 2], [9, 3], [2, 4], [7, 5]], dtype=np.uint64)
VALUES = np.array(
    [[0.1, np.nan], [1e-30, 2.0], [3.0, 4.0], [np.pi, 5.0], [6.0, 7.0]], dtype=np.float32
)


@pytest.mark.parametrize("at_once", [1, 2, 100])
def test_rows_are_found_again_however_many_are_kept_at_a_time(tmp_path, monkeypatch, at_once):
    monkeypatch.setattr(module, "_ROWS_AT_ONCE", at_once)
    keep_states(tmp_path, "spreads", KEYS, VALUES, "fit")
    held = kept_states(tmp_path, "spreads", "fit")
    asked = np.vstack([KEYS[[4, 1, 1]], [[2, 3]]]).astype(np.uint64)
    place, found = held.places(asked), np.full((4, held.width), -1, np.float32)
    held.fill(found, place)
    assert (place < 0).tolist() == [False, False, False, True]
    assert found[:3].tobytes() == VALUES[[4, 1, 1]].tobytes()
    assert (found[3] == -1).all()


def test_of_rows_with_equal_keys_the_first_is_kept(tmp_path):
    keep_states(tmp_path, "spreads", KEYS[[0, 1, 0]], VALUES[:3], "fit")
    held = kept_states(tmp_path, "spreads", "fit")
    found = np.zeros((1, 2), np.float32)
    held.fill(found, held.places(KEYS[:1]))
    assert found.tobytes() == VALUES[:1].tobytes()


def test_no_rows_are_kept_as_none(tmp_path):
    keep_states(tmp_path, "spreads", KEYS[:0], VALUES[:0], "fit")
    held = kept_states(tmp_path, "spreads", "fit")
    assert (held.places(KEYS) == -1).all()
    assert held.width == 2


def test_what_rests_on_another_fit_or_is_damaged_counts_for_nothing(tmp_path):
    assert kept_states(tmp_path, "spreads", "fit") is None
    keep_states(tmp_path, "spreads", KEYS, VALUES, "fit")
    assert kept_states(tmp_path, "spreads", "other fit") is None
    assert damaged_frames(tmp_path) == []
    path = tmp_path / "spreads_rows.parquet"
    path.write_bytes(path.read_bytes()[:-1])
    assert kept_states(tmp_path, "spreads", "fit") is None
    assert damaged_frames(tmp_path) == ["spreads.json"]
