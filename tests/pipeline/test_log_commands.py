"""Recordings of every kind, by the command, become ordinary sessions: with what they can show."""

from pathlib import Path

import pytest

from pipeline.access.views import session_view
from pipeline.commands import main
from pipeline.home import Home
from pipeline.intake.column_names import remember_column_names
from tests.askers import HERE
from tests.pipeline.intake.loggers.recorded import (
    candump_text,
    sweep_volts,
    wav_bytes,
    write_mdf,
)
from tests.pipeline.shop_files import SHOP, hand_in

FULL_V, WAV_HZ = 5.2, 8_000
#: Session, its file, and what has to be said of it.
RECORDINGS = {
    "log-table": ("table.csv", "--time-in", "ms"),
    "log-can": ("polled.log",),
    "log-mdf": ("fast.mf4", "--signal", "TPS", "--travel", "grip of group 2"),
    "log-wav": ("sound.wav", "--volts-at-full-scale", "5.2", "--slow-levels", "kept"),
}


def _write_recordings(folder) -> None:
    t_s, volts = sweep_volts(200.0)
    rows = [f"{v:.4f};{1000 * t:.1f}" for t, v in zip(t_s, volts, strict=True)]
    (folder / "table.csv").write_text("at the pin;clock\n" + "\n".join(rows) + "\n")
    (folder / "polled.log").write_text(candump_text(8.0))
    write_mdf(folder / "fast.mf4", dropouts=(30.0,))
    _write_sound(folder / "sound.wav")


def _write_sound(path: Path) -> None:
    _, sound = sweep_volts(WAV_HZ, dropouts=(30.0,))
    path.write_bytes(wav_bytes([sound / FULL_V], WAV_HZ))


@pytest.fixture(scope="module")
def converted(built_once):
    """A shop whose four tests came with one recording of each kind, built once."""

    def fill(folder) -> None:
        home = Home(folder / "home").prepare()
        remember_column_names(home, "sweeps", {"at the pin": "signal", "clock": "t_s"})
        _write_recordings(folder)
        files = dict(SHOP)
        tests = "session_id,sensor_id,shop_id,tested_at,odometer_km,supply_v,sweep_channel\n"
        for number, (session_id, (name, *said)) in enumerate(RECORDINGS.items()):
            ending = "csv" if session_id == "log-table" else "parquet"
            out = folder / f"sweeps-{session_id}.{ending}"
            command = ["convert-log", str(folder / name), "--session-id", session_id]
            command += ["--out", str(out), "--home", str(home.root), *said]
            assert main(command) == 0
            files[out.name] = out.read_bytes()
            channel = "percent" if session_id == "log-can" else "volt"
            tests += f"{session_id},S2,s1,2025-0{number + 1}-10T09:00:00+00:00,1{number}000,5.0,"
            tests += f"{channel}\n"
        hand_in(home, folder / "in", files | {"test_sessions-2.csv": tests})

    return built_once("recordings", fill)


def _measures(home: Home, session_id: str) -> dict:
    return session_view(home, HERE, session_id).measures


@pytest.mark.long
@pytest.mark.parametrize(
    ("session_id", "conclusion", "shortest_ms"),
    [
        ("log-table", "nothing_seen", 5.0),
        ("log-can", "cannot_tell", 125.0),
        ("log-mdf", "dropouts_seen", 5.0),
        ("log-wav", "dropouts_seen", 0.125),
    ],
)
def test_each_recording_is_an_ordinary_session_with_what_its_rate_can_show(
    converted, session_id, conclusion, shortest_ms
):
    found = _measures(converted, session_id)
    assert found["conclusion"] == conclusion
    assert found["shortest_visible_ms"] == pytest.approx(shortest_ms)
    assert found["pass_count"] == 6


@pytest.mark.long
def test_a_polled_recording_says_how_to_record_and_clears_nothing(converted):
    assert "filtered and slow" in _measures(converted, "log-can")["advice"]


def test_without_a_target_it_says_what_the_recording_holds_and_what_to_say(tmp_path, capsys):
    _write_sound(tmp_path / "sound.wav")
    assert main(["convert-log", str(tmp_path / "sound.wav"), "--home", str(tmp_path)]) == 0
    said = capsys.readouterr().out
    assert "sound recording (WAV)" in said
    assert "--volts-at-full-scale V" in said


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--session-id", "T 1", "--out", "sweeps-1.csv"], "--session-id is T 1; expected 1 to 64"),
        (["--out", "sweeps-1.csv"], "--session-id is not given"),
        (["--session-id", "T1", "--out", "mine.csv"], "mine.csv would not be known again"),
        (["--session-id", "T1", "--out", "sweeps-1.doc"], "written as .csv or .parquet"),
        (["--session-id", "T1", "--out", "sweeps-0.csv"], "is there already"),
        (["--session-id", "T1", "--out", "sweeps-1.csv", "--signal", "up"], "no column up"),
        (
            ["--session-id", "T1", "--out", "sweeps-1.csv", "--slow-levels", "lost"],
            "nothing is concluded from this sweep",
        ),
    ],
)
def test_what_cannot_be_written_is_said_and_nothing_is(tmp_path, capsys, monkeypatch, more, said):
    monkeypatch.chdir(tmp_path)
    _write_sound(tmp_path / "sound.wav")
    (tmp_path / "sweeps-0.csv").touch()
    command = ["convert-log", "sound.wav", "--home", "none", "--volts-at-full-scale", "5"]
    command += ["--slow-levels", "kept", *more]
    assert main(command) == 1
    error = capsys.readouterr().err
    assert "Nothing was written" in error
    assert said in error
    assert sorted(path.name for path in tmp_path.iterdir()) == ["sound.wav", "sweeps-0.csv"]


def test_a_file_that_is_not_there_is_said(capsys):
    assert main(["convert-log", "nowhere.wav"]) == 1
    assert "No such file: nowhere.wav" in capsys.readouterr().err
