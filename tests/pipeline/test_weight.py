"""Results are weighed about right, whatever they are made of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest

from pipeline.weight import COLUMN_BYTES, weight


@dataclass(frozen=True)
class View:
    rows: pd.DataFrame
    words: tuple[str, ...] = ()


@pytest.mark.parametrize("rows", [10, 1_000, 100_000])
def test_numbers_weigh_what_they_take_up_or_a_little_more(rows):
    frame = pd.DataFrame(np.zeros((rows, 10)))
    assert 80 * rows <= weight(frame) <= 3 * 80 * rows + 10 * COLUMN_BYTES + 200


@pytest.mark.parametrize("dtype", ["str", "object"])
def test_the_text_of_many_rows_counts(dtype):
    frame = pd.DataFrame({"note": pd.Series(["x" * 100] * 30_000, dtype=dtype)})
    assert weight(frame) > 100 * 30_000 * 0.9


def test_a_view_weighs_as_much_as_its_frames_at_least():
    rows = pd.DataFrame({"a": np.arange(100_000)})
    assert weight(View(rows)) >= weight(rows) >= 800_000
    assert weight({"one": [View(rows)], "other": rows}) >= 2 * weight(rows)


def test_a_part_of_an_array_counts_as_itself_alone():
    whole = np.zeros(100_000)
    assert weight(whole) >= 800_000
    assert weight(whole[:10]) == 80


def test_text_and_small_things_count():
    assert weight("x" * 5_000) >= 5_000
    assert 0 < weight(None) < 100
    assert weight(View) < 5_000  # a class is no collection of its fields
