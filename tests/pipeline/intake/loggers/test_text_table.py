"""A logger's export is read whatever stands between its cells, and nothing in it is dropped."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.intake.loggers import text_table
from pipeline.intake.loggers.readers import as_log_file, contract_file, look_at, sweep_of
from pipeline.intake.loggers.recording import TIME, LogChoice, LogError, LogSweep
from pipeline.intake.loggers.text_table import likely_columns, read_sweep_text


def _sweep(content: bytes, **choice) -> LogSweep:
    with as_log_file(content, "export.csv") as file:
        found = look_at(file)
        return sweep_of(file, LogChoice(**({"columns": found.likely} | choice)))


def _written(content: bytes, **choice) -> bytes:
    name, written = contract_file(_sweep(content, **choice), "T1")
    assert name == "sweeps-T1.csv"
    return written


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
    assert _written(content) == b"session_id,t_s,signal\nT1,0.00,0.51\nT1,0.01,0.52\n"


def test_columns_go_by_our_names_then_what_is_remembered_then_by_place():
    names = ("Zeit", "Spannung", "travel_pct")
    assert likely_columns(names, {"Spannung": "signal_b"}) == {
        "travel_pct": "travel_pct",
        "signal_b": "Spannung",
        "t_s": "Zeit",
    }
    assert likely_columns(names, {})["signal"] == "Spannung"


def test_what_is_no_number_stays_in_its_place():
    content = b"0,0.5\n1,OL\n2\n3,0.7\n"
    assert _written(content).splitlines()[2:4] == [b"T1,1,OL", b"T1,2,"]
    first, second = _sweep(content).troubles
    assert first == "export.csv, sample 2, column 2: “OL”; expected a number"
    assert "sample 3, column 2: “”" in second


def test_milliseconds_become_seconds():
    written = _written(b"ms,V\n0,0.5\n2.5,0.6\nlate,0.7\n", time_in_ms=True)
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
    with pytest.raises(LogError, match=said):
        read_sweep_text(content)


def test_a_column_that_is_not_there_is_named():
    with pytest.raises(LogError, match=r"no column volts \(for signal\); expected one of t, v"):
        _sweep(b"t,v\n0,1\n", columns={"t_s": "t", "signal": "volts"})
    with pytest.raises(LogError, match="no column is named for signal"):
        _sweep(b"t,v\n0,1\n", columns={"t_s": "t"})


@given(st.lists(st.tuples(st.floats(0, 1e6), st.floats(-50, 50)), min_size=1, max_size=40))
def test_every_sample_comes_through(samples):
    content = "\n".join(f"{t!r};{v!r}" for t, v in samples).encode()
    written = _written(content).decode().splitlines()[1:]
    assert [tuple(map(float, line.split(",")[1:])) for line in written] == samples


def test_a_cell_without_end_is_no_sweep():
    with pytest.raises(LogError, match="a line cannot be read"):
        read_sweep_text(b"1,2\n" * 5 + b"x" * 200_000 + b",1\n3,4\n")


def test_a_table_asks_for_its_time_and_remembers_the_names_of_its_columns():
    with as_log_file(b"clock;grip;volts\n0;1;0.5\n1;2;0.6\n", "export.csv") as file:
        found = look_at(file, {"volts": "signal", "grip": "travel_pct"})
    assert found.own_names
    assert found.asks == {TIME}
    assert found.likely == {"t_s": "clock", "signal": "volts", "travel_pct": "grip"}


def test_the_rate_of_a_table_is_said_with_what_it_cannot_show():
    content = "".join(f"{n / 10},{n}\n" for n in range(30)).encode()
    said = " ".join(_sweep(content).facts)
    assert "one every 100 ms" in said
    assert "Record at 200 samples a second or more." in said


def test_a_table_of_more_lines_than_can_be_held_is_refused(monkeypatch):
    monkeypatch.setattr(text_table, "MOST_LINES", 3)
    with pytest.raises(LogError, match="has 4 lines; expected at most 3"):
        read_sweep_text(b"0,1\n" * 4)
