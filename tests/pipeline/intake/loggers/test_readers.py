"""One interface for all: told by content, written as the contract's file, measured as any sweep."""

import io

import numpy as np
import pandas as pd
import pytest
from pyarrow import parquet

from pipeline.access.entered.typed_sweep import TypedSweep, typed_sweep
from pipeline.intake.loggers import candump, mdf, text_table, wav
from pipeline.intake.loggers.readers import (
    as_log_file,
    contract_file,
    is_marked,
    look_at,
    reader_of,
    sweep_of,
    written,
)
from pipeline.intake.loggers.recording import (
    LogChoice,
    LogError,
    LogFile,
    LogSweep,
    Troubles,
    stated_channel,
)
from tests.pipeline.intake.loggers.recorded import (
    GOLDEN,
    ac_coupled,
    candump_text,
    sweep_volts,
    wav_bytes,
)


@pytest.mark.parametrize(
    ("first", "kind"),
    [
        (b"(1436509052.249713) can0 7E8#03", candump.KIND),
        (b"\xef\xbb\xbf\n (1.5)  vcan0 18DAF110#", candump.KIND),
        (b"RIFF\x00\x00\x00\x00WAVEfmt ", wav.KIND),
        (b"MDF     4.10    ", mdf.KIND),
        (b"UnFinMF 4.10    ", mdf.KIND),
        (b"t_s,signal\n0,1\n", text_table.KIND),
        (b"(seconds),signal\n0,1\n", text_table.KIND),
    ],
)
def test_a_file_is_known_by_how_it_begins(first, kind):
    assert reader_of(first).kind == kind
    assert is_marked(first) == (kind != text_table.KIND)


@pytest.mark.parametrize("content", [b"", b" \n"])
def test_an_empty_file_is_refused_by_any_reader(content):
    with pytest.raises(LogError, match="empty"), as_log_file(content, "none.log") as file:
        look_at(file)


def test_a_file_that_cannot_be_opened_is_named(tmp_path):
    with pytest.raises(LogError, match=r"gone\.wav cannot be read"):
        look_at(LogFile(tmp_path / "gone.wav", "gone.wav"))


def _numbers() -> LogSweep:
    return LogSweep(pd.DataFrame({"t_s": [0.0, 0.125], "signal": [1.5, np.nan]}))


def test_numbers_are_written_as_parquet_and_a_blank_stays_one():
    name, content = contract_file(_numbers(), "T1")
    table = parquet.read_table(io.BytesIO(content)).to_pydict()
    assert name == "sweeps-T1.parquet"
    assert table == {"session_id": ["T1", "T1"], "t_s": [0.0, 0.125], "signal": [1.5, None]}


def test_numbers_can_be_written_as_text_and_nothing_else():
    assert written(_numbers(), "T1", ".csv") == b"session_id,t_s,signal\nT1,0.0,1.5\nT1,0.125,\n"
    with pytest.raises(LogError, match=r"expected one of these: '\.doc'"):
        written(_numbers(), "T1", ".doc")
    with pytest.raises(LogError, match=r"ends in \.csv"):
        written(LogSweep(pd.DataFrame({"t_s": ["0"], "signal": ["OL"]})), "T1", ".parquet")


def test_units_as_files_write_them():
    assert stated_channel(" mV") == ("volt", 0.001)
    assert stated_channel("Ohm") == ("ohm", 1.0)
    assert stated_channel("rpm") == (None, 1.0)


def test_a_trouble_is_shown_in_short_whatever_its_value_holds():
    troubles = Troubles("a.log")
    troubles.add("line 1", "", "\ud800" + "x" * 500, "less")
    (said,) = troubles.told()
    assert said.encode()
    assert len(said) < 150


def _measured(content: bytes, **choice) -> tuple[LogSweep, TypedSweep]:
    with as_log_file(content, "recording") as file:
        sweep = sweep_of(file, LogChoice(look_at(file).likely, **choice))
    name, made = contract_file(sweep, "T1")
    test = {"session_id": "T1", "sweep_channel": sweep.channel, "supply_v": "5.0"}
    sensor = {"sensor_id": "S1", "output": "rising", "kind": "potentiometer", "tracks": 1}
    return sweep, typed_sweep(sensor, test, made, name)


@pytest.mark.parametrize("second", [False, True])
def test_a_polled_log_is_measured_and_clears_nothing(second):
    sweep, shown = _measured(candump_text(8.0, second=second).encode())
    assert shown.measures["conclusion"] == "cannot_tell"
    assert shown.measures["shortest_visible_ms"] == pytest.approx(125.0)
    assert shown.measures["pass_count"] == 6
    assert "drop-outs shorter than 125 ms could have been missed" in " ".join(sweep.facts)
    assert shown.troubles == ()


@pytest.mark.parametrize(
    ("dropouts", "conclusion"), [((), "nothing_seen"), ((30.0,), "dropouts_seen")]
)
def test_sound_that_keeps_levels_shows_what_its_rate_can(dropouts, conclusion):
    _, volts = sweep_volts(8_000, dropouts=dropouts)
    _, shown = _measured(wav_bytes([volts / 6], 8_000), volts_at_full_scale=6, keeps_levels=True)
    assert shown.measures["conclusion"] == conclusion
    assert shown.measures["dropout_count"] == 6 * len(dropouts)
    assert shown.measures["shortest_visible_ms"] == pytest.approx(0.125)


@pytest.mark.parametrize("keeps", [True, False])
def test_sound_that_loses_levels_is_never_judged(keeps):
    _, volts = sweep_volts(8_000, dropouts=(30.0,))
    lost = wav_bytes([ac_coupled(volts, 8_000) / 6], 8_000)
    sweep, shown = _measured(lost, volts_at_full_scale=6, keeps_levels=keeps)
    assert sweep.not_judged
    assert shown.measures["conclusion"] == "cannot_tell"


def test_a_log_of_one_reading_says_that_it_tells_nothing():
    sweep, shown = _measured(f"(1.0) can0 {GOLDEN}\n".encode())
    assert "nothing can be told of its rate" in " ".join(sweep.facts)
    assert shown.measures["conclusion"] == "cannot_tell"
