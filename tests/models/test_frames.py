import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.frames import Column, FrameError, FrameSchema

SCHEMA = FrameSchema(
    "things",
    "one thing",
    (
        Column("name", "text", "its name"),
        Column("size_km", "number", "its size", "km", True),
        Column("count", "whole", "how many", blank=True),
        Column("seen", "flag", "seen or not", blank=True),
        Column("read_on", "date", "day", blank=True),
        Column("tested_at", "moment", "moment", blank=True),
    ),
)


def things(**changed):
    good = {
        "name": ["a", "b"],
        "size_km": [1, None],
        "count": [3, None],
        "seen": [True, None],
        "read_on": ["2026-03-14", None],
        "tested_at": ["2026-03-14T09:30:00+01:00", None],
    }
    return pd.DataFrame(good | changed)


def test_columns_come_out_declared_in_order_and_in_kind():
    checked = SCHEMA.check(
        things(extra=[1, 2])[["tested_at", "name", "extra", "size_km", "count", "seen", "read_on"]]
    )
    assert list(checked.columns) == SCHEMA.names
    assert checked.dtypes.to_dict() == SCHEMA.empty().dtypes.to_dict()
    assert checked["tested_at"].iloc[0] == pd.Timestamp("2026-03-14T08:30:00Z")


def test_a_missing_column_is_named():
    with pytest.raises(FrameError, match="things: no column count, seen"):
        SCHEMA.check(things().drop(columns=["count", "seen"]))


def test_a_blank_where_none_may_stand_is_named_with_its_row():
    with pytest.raises(FrameError, match=r"things\.name: blank at row 1"):
        SCHEMA.check(things(name=["a", None]))


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("size_km", ["x", "1"]),
        ("count", [1.5, 2]),
        ("read_on", ["no day", None]),
        ("seen", ["a", "b"]),
    ],
)
def test_what_cannot_be_read_as_its_kind_is_named(name, values):
    with pytest.raises(FrameError, match=f"things.{name}: not readable as"):
        SCHEMA.check(things(**{name: values}))


def test_an_empty_frame_fits():
    assert SCHEMA.check(SCHEMA.empty()).empty


@given(st.lists(st.floats(allow_nan=True), min_size=1, max_size=5))
def test_checking_twice_changes_nothing(sizes):
    frame = SCHEMA.check(things()).iloc[[0] * len(sizes)].assign(size_km=np.array(sizes))
    once = SCHEMA.check(frame.reset_index(drop=True))
    pd.testing.assert_frame_equal(SCHEMA.check(once), once)


def test_the_frame_handed_in_is_left_as_it_was():
    frame = things()
    SCHEMA.check(frame)
    assert frame["read_on"].iloc[0] == "2026-03-14"
