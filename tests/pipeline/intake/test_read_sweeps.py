import math
from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.intake.read_sweeps import read_sweeps, samples_into, samples_path
from pipeline.intake.receive import HandedFile
from pipeline.kept_sweeps.part_format import Sweeps, as_numbers, plain
from pipeline.statements import connect


def _read(folder, frame: pd.DataFrame, suffix: str = ".csv"):
    """Hand in one file; return the samples as they are given out again, and what is kept of them."""
    path = folder / f"0001{suffix}"
    if suffix == ".csv":
        frame.to_csv(path, index=False)
    else:
        frame.to_parquet(path)
    connection = connect()
    read_sweeps(
        connection, HandedFile(1, 1, f"sweeps{suffix}", path, date(2026, 6, 1)), folder, folder
    )
    kept = samples_path(folder, "000001-0001")
    sessions = sorted(frame["session_id"].dropna().unique())
    sweeps = Sweeps(kept)
    samples = pd.concat(
        [as_numbers(plain(sweeps.sweep(one))).assign(session_id=one) for one in sessions]
    )
    return samples, connection.execute(f"from '{kept}'").df()


def _sweep(t_s, signal, session="T1"):
    return pd.DataFrame({"session_id": session, "t_s": t_s, "signal": signal})


def test_a_converter_s_steps_are_kept_as_counts_and_come_back_the_same(tmp_path):
    t_s = np.arange(500) / 200
    signal = np.round(np.arange(500) % 17 * 0.00125 + 0.5, 5)
    samples, kept = _read(tmp_path, _sweep(t_s, signal))
    np.testing.assert_array_equal(samples["t_s"], t_s)
    np.testing.assert_array_equal(samples["signal"], signal)
    assert set(kept["signal_step_micro"]) == {1250}
    assert set(kept["t_step_micro"]) == {5000}
    assert kept["signal_exact"].isna().all()


def test_numbers_that_are_no_whole_steps_are_kept_as_they_are(tmp_path):
    signal = np.array([1 / 3, 2 / 7, np.pi, -1e12, 1e-9])
    samples, kept = _read(tmp_path, _sweep(np.arange(5) / 3, signal), ".parquet")
    np.testing.assert_array_equal(samples["signal"], signal)
    np.testing.assert_array_equal(samples["t_s"], np.arange(5) / 3)
    assert kept["signal_count"].isna().all()


def test_unreadable_infinite_and_blank_values_keep_their_place(tmp_path):
    frame = _sweep(["0", "0.1", "x", "", "0.4"], ["1", "abc", "2", "inf", ""])
    samples, _ = _read(tmp_path, frame)
    np.testing.assert_array_equal(samples["sample_no"], range(5))
    np.testing.assert_array_equal(samples["t_s"], [0, 0.1, np.nan, np.nan, 0.4])
    np.testing.assert_array_equal(samples["signal"], [1, np.nan, 2, np.inf, np.nan])


def test_single_precision_means_the_number_as_written(tmp_path):
    frame = _sweep(np.arange(3) / 10, np.array([4.55125, 0.49625, 4.52], dtype=np.float32))
    samples, kept = _read(tmp_path, frame, ".parquet")
    assert samples["signal"].tolist() == [4.55125, 0.49625, 4.52]
    assert kept["signal_exact"].isna().all()


def test_sessions_that_alternate_are_put_together_in_the_order_recorded(tmp_path):
    frame = pd.concat([_sweep([0.0, 0.1], [1.0, 2.0]), _sweep([0.0, 0.1], [3.0, 4.0], "T2")])
    samples, _ = _read(tmp_path, frame.iloc[[0, 2, 1, 3]])
    assert samples["session_id"].tolist() == ["T1", "T1", "T2", "T2"]
    assert samples["signal"].tolist() == [1, 2, 3, 4]


def test_an_ordinary_sweep_needs_less_than_a_byte_a_sample(tmp_path):
    rng = np.random.default_rng(0)
    t_s = np.arange(40_000) / 200
    volts = 2.5 - 2 * np.cos(t_s) + 0.0006 * rng.standard_normal(len(t_s))
    _read(tmp_path, _sweep(t_s, np.round(np.round(volts / 0.00125) * 0.00125, 5)), ".parquet")
    assert samples_path(tmp_path, "000001-0001").stat().st_size / len(t_s) < 1


@pytest.mark.parametrize("suffix", [".csv", ".parquet"])
@settings(max_examples=30)
@given(
    st.lists(
        st.tuples(st.floats(allow_nan=True, allow_infinity=True, width=64), st.floats(-1e3, 1e6)),
        min_size=1,
        max_size=8,
    )
)
def test_any_numbers_come_back_the_same(tmp_path_factory, suffix, values):
    t_s, signal = zip(*values, strict=True)
    samples, _ = _read(tmp_path_factory.mktemp("any"), _sweep(list(t_s), list(signal)), suffix)
    for name, wanted in (("t_s", t_s), ("signal", signal)):
        for found, value in zip(samples[name], wanted, strict=True):
            assert found == value or (math.isnan(found) and math.isnan(value))


def _issues(folder, text: bytes) -> list[tuple]:
    path = folder / "0001.csv"
    path.write_bytes(text)
    connection = connect()
    samples_into(connection, HandedFile(1, 1, "sweeps.csv", path, date(2026, 6, 1)))
    return connection.execute(
        "select effect, line, reason from read_issues where effect <> 'notice'"
    ).fetchall()


def test_a_sample_that_the_reader_passes_over_in_silence_sets_the_file_aside(tmp_path):
    ((effect, _, reason),) = _issues(tmp_path, b'"s"ession_id\r\n"S8";"91.2105";"0.200089"\r\n')
    assert effect == "file"
    assert "the file has 1 records, but only 0 could be told apart" in reason


def test_a_sample_cut_off_within_quotes_is_set_aside_alone(tmp_path):
    head, good = b"session_id,t_s,signal,note\n", b'"T1","0.1","2.5","a\nb"\n'
    found = _issues(tmp_path, head + good + good + b'"T1","0.')
    # lines are counted by records here, which differs where values hold line breaks
    assert [(effect, line) for effect, line, _ in found] == [("row", 4)]
