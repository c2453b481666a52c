"""A logger's export is read whatever stands between its cells, and nothing in it is dropped."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.intake.typed.dropped_sweep import (
    SweepText,
    SweepTextError,
    likely_columns,
    read_sweep_text,
    sweep_csv,
)


@pytest.mark.parametrize(
    "content",
    [
        b"t_s,signal\n0.00,0.51\n0.01,0.52\n",
        b"\xef\xbb\xbft_s;signal\r\n0,00;0,51\r\n0,01;0,52\r\n",
        b"t_s\tsignal\n0.00\t0.51\n0.01\t0.52\n\n",
        b"0.00,0.51\n0.01,0.52\n",
        b"0,00 0,51\n0,01 0,52\n",
    ],
    ids=["commas", "semicolons and decimal commas", "tabs", "no header", "blanks"],
)
def test_the_same_samples_are_read_from_each(content):
    sweep = read_sweep_text(content)
    written = sweep_csv(sweep, "T1", likely_columns(sweep.names, {}))
    assert written == b"session_id,t_s,signal\nT1,0.00,0.51\nT1,0.01,0.52\n"


def test_columns_go_by_our_names_then_what_is_remembered_then_by_place():
    names = ("Zeit", "Spannung", "travel_pct")
    assert likely_columns(names, {"Spannung": "signal_b"}) == {
        "travel_pct": "travel_pct",
        "signal_b": "Spannung",
        "t_s": "Zeit",
    }
    assert likely_columns(names, {})["signal"] == "Spannung"


def test_what_is_no_number_stays_in_its_place():
    sweep = read_sweep_text(b"0,0.5\n1,OL\n2\n3,0.7\n")
    written = sweep_csv(sweep, "T1", {"t_s": "column 1", "signal": "column 2"})
    assert written.splitlines()[2:4] == [b"T1,1,OL", b"T1,2,"]


def test_milliseconds_become_seconds():
    sweep = read_sweep_text(b"ms,V\n0,0.5\n2.5,0.6\nlate,0.7\n")
    columns = {"t_s": "ms", "signal": "V"}
    written = sweep_csv(sweep, "T1", columns, time_in_ms=True)
    assert [line.split(b",")[1] for line in written.splitlines()[1:]] == [b"0", b"0.0025", b"late"]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "empty"),
        (b"\n \n", "empty"),
        (b"\xff\xfe0\x00", "UTF-8"),
        (b"one,two\nthree,four\n", "two numbers"),
        (b"1\n2\n3\n", "two numbers"),
        (b"t_s,signal\n", "two numbers"),
    ],
)
def test_what_is_no_table_of_samples_is_said(content, said):
    with pytest.raises(SweepTextError, match=said):
        read_sweep_text(content)


def test_a_column_that_is_not_there_is_named():
    with pytest.raises(SweepTextError, match="no column signal"):
        sweep_csv(SweepText(("t",), (("0",),)), "T1", {"t_s": "t", "signal": "signal"})


@given(st.lists(st.tuples(st.floats(0, 1e6), st.floats(-50, 50)), min_size=1, max_size=40))
def test_every_sample_comes_through(samples):
    content = "\n".join(f"{t!r};{v!r}" for t, v in samples).encode()
    sweep = read_sweep_text(content)
    written = sweep_csv(sweep, "T1", likely_columns(sweep.names, {})).decode().splitlines()[1:]
    assert [tuple(map(float, line.split(",")[1:])) for line in written] == samples


def test_a_cell_without_end_is_no_sweep():
    with pytest.raises(SweepTextError, match="a line cannot be read"):
        read_sweep_text(b"1,2\n" * 5 + b"x" * 200_000 + b",1\n3,4\n")
