"""The commands on recordings of loggers: install what reads them, turn one into a sweep's file."""

from __future__ import annotations

import argparse
import re
from pathlib import Path

from pipeline.asker import whoever_is_here
from pipeline.home import HomeError, own_home
from pipeline.intake.column_names import read_column_names
from pipeline.intake.contract import table_of
from pipeline.intake.loggers.readers import judged_sweep_of, look_at, written
from pipeline.intake.loggers.recording import (
    SCALE,
    TIME,
    LogChoice,
    LogError,
    LogFile,
    LogLook,
    LogSweep,
)

_ID = re.compile(r"[A-Za-z0-9._-]{1,64}")
_OPTIONS = {"signal": "--signal", "signal_b": "--second", "travel_pct": "--travel", "t_s": "--time"}


def add_log_commands(commands: argparse._SubParsersAction) -> argparse.ArgumentParser:
    """Add the commands; return the one that reads a home."""
    extra = commands.add_parser(
        "install-loggers", help="install what reads MDF 4 files and CAN logs (once)"
    )
    extra.set_defaults(run=lambda chosen: print("What reads files of loggers is installed."))
    convert = commands.add_parser(
        "convert-log",
        help="see what a logger's recording holds, and turn it into a sweep's file",
        description="Tables of text, CAN logs (candump -L), WAV and MDF 4. Without --out it says "
        "what the recording holds.",
    )
    convert.add_argument("file", type=Path, metavar="FILE")
    convert.add_argument("--out", type=Path, help="sweeps-NAME.csv or sweeps-NAME.parquet")
    convert.add_argument("--session-id", metavar="ID", help="the bench test it belongs to")
    convert.add_argument("--signal", metavar="CHANNEL", help="the sensor's output")
    convert.add_argument("--second", metavar="CHANNEL", help="the second track")
    convert.add_argument("--travel", metavar="CHANNEL", help="a channel that knows the travel")
    convert.add_argument("--time", metavar="COLUMN", help="the time, in tables of text")
    convert.add_argument("--time-in", choices=("s", "ms"), default="s", help="what it is in")
    convert.add_argument("--volts-at-full-scale", type=float, metavar="V", help="WAV: less zero's")
    convert.add_argument("--volts-at-zero", type=float, metavar="V", default=0.0, help="WAV")
    convert.add_argument(
        "--slow-levels",
        choices=("kept", "lost"),
        help="WAV: whether the input keeps slow levels (DC-coupled); a sound card usually loses "
        "them, and then nothing is concluded",
    )
    convert.set_defaults(run=_convert)
    return convert


def _convert(chosen: argparse.Namespace) -> None:
    if not chosen.file.is_file():
        raise HomeError(f"No such file: {chosen.file}.")
    file = LogFile(chosen.file, chosen.file.name)
    try:
        look = look_at(file, _remembered(chosen))
        print(_look_text(file, look))
        if chosen.out is None:
            print("\n".join([*look.troubles, _how_text(look)]))
            return
        _refuse_out(chosen.out, chosen.session_id)
        sweep = judged_sweep_of(file, _choice(chosen, look))
        content = written(sweep, chosen.session_id, chosen.out.suffix.lower())
    except LogError as error:
        raise HomeError(f"Nothing was written: {error}.") from error
    chosen.out.write_bytes(content)
    print(_sweep_text(chosen.out, chosen.session_id, sweep))


def _remembered(chosen: argparse.Namespace) -> dict[str, str]:
    home = own_home(chosen.home)
    return read_column_names(home, whoever_is_here()).get("sweeps", {})


def _choice(chosen: argparse.Namespace, look: LogLook) -> LogChoice:
    """What was said; where no signal was named, what is likely stands, and the rest over it."""
    said = {
        ours: getattr(chosen, option.removeprefix("--"))
        for ours, option in _OPTIONS.items()
        if getattr(chosen, option.removeprefix("--"))
    }
    likely = dict(look.likely)
    if "signal" in said:
        likely = {ours: name for ours, name in likely.items() if ours == "t_s"}
    return LogChoice(
        likely | said,
        chosen.time_in == "ms",
        chosen.volts_at_full_scale,
        chosen.volts_at_zero,
        None if chosen.slow_levels is None else chosen.slow_levels == "kept",
    )


def _refuse_out(out: Path, session_id: str | None) -> None:
    if session_id is None or not _ID.fullmatch(session_id):
        raise LogError(
            f"--session-id is {session_id or 'not given'}; expected 1 to 64 of letters, digits, "
            ". _ -"
        )
    table = table_of(out.name)
    if table is None or table.name != "sweeps":
        raise LogError(f"{out.name} would not be known again; expected a name such as sweeps-1.csv")
    if out.exists():
        raise LogError(f"{out} is there already; expected a new file")


def _look_text(file: LogFile, look: LogLook) -> str:
    likely = {theirs: ours for ours, theirs in look.likely.items()}
    lines = [f"{file.name}: {look.kind}. {' '.join(look.facts)}"]
    for channel in look.channels:
        as_ours = f" (likely {likely[channel.name]})" if channel.name in likely else ""
        lines.append(f"  {channel.label}{as_ours}")
    return "\n".join(lines)


def _how_text(look: LogLook) -> str:
    """What to say to have it written."""
    said = ["--session-id ID", "--out sweeps-ID.parquet"]
    if TIME in look.asks:
        said = ["--session-id ID", "--out sweeps-ID.csv", "--time COLUMN"]
    if "signal" not in look.likely or TIME in look.asks:
        said.append("--signal CHANNEL")
    if SCALE in look.asks:
        said += ["--volts-at-full-scale V", "--volts-at-zero V", "--slow-levels kept|lost"]
    return f"To write the sweep: {' '.join(said)}"


def _sweep_text(out: Path, session_id: str, sweep: LogSweep) -> str:
    row = f"sweep_channel {sweep.channel}" if sweep.channel else "say in sweep_channel what it is"
    lines = [
        *sweep.facts,
        *sweep.troubles,
        f"{out}: {len(sweep.samples):,} samples. In the row of {session_id} in test_sessions: "
        f"{row}.",
    ]
    return "\n".join(lines)
