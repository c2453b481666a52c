"""ASAM MDF 4, as measuring programs write it: read by asammdf in a process of bounded memory.

A file of a few bytes may claim more than there is memory, and what is damaged may end the program
that reads it; so it is read in a child, and only plain numbers come back.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pipeline.intake.loggers import mdf_child
from pipeline.intake.loggers.extra import need
from pipeline.intake.loggers.rate_shows import rate_shows, rate_words
from pipeline.intake.loggers.recording import (
    MOST_BYTES,
    MOST_SAMPLES,
    SAMPLES,
    LogChannel,
    LogChoice,
    LogError,
    LogFile,
    LogLook,
    LogSweep,
    Troubles,
    chosen,
    stated_channel,
)
from pipeline.intake.loggers.side_by_side import Series, sweep_frame

KIND = "measurement file (MDF 4)"
MEMORY_BYTES = 2 << 30
LONGEST_S = 120
_NAMED = 5
_BEGINS = (b"MDF     ", b"UnFinMF ")


@dataclass(frozen=True)
class _Found:
    """One channel as the child lists it."""

    at: list[int]
    name: str
    unit: str
    samples: int
    step_s: float | None
    against: str


def is_mdf(first: bytes) -> bool:
    """Whether a file begins as MDF does, of whatever version."""
    return first[:8] in _BEGINS


def look(file: LogFile, remembered: Mapping[str, str]) -> LogLook:
    """The channels of numbers over time, by their names and stated units."""
    listed = _listed(file)
    found = _usable(listed)
    others = _others(listed)
    if not found:
        raise LogError(
            f"{file.name} has no channel of numbers over time; expected one. {others}".strip()
        )
    channels = tuple(
        LogChannel(name, _label(name, one), one.unit, one.samples, one.step_s)
        for name, one in found.items()
    )
    return LogLook(
        KIND,
        channels,
        likely=_likely(channels, remembered),
        facts=(f"{len(channels):,} channels of numbers over time.", *([others] if others else [])),
        own_names=True,
    )


def sweep(file: LogFile, choice: LogChoice) -> LogSweep:
    """The chosen channels, in the units of the contract where the file states theirs."""
    troubles = Troubles(file.name)
    columns = {ours: theirs for ours, theirs in choice.columns.items() if ours != "t_s"}
    found, series = _read(file, columns)
    _refuse_mixed(found, columns)
    channel, factor = stated_channel(found[columns["signal"]].unit)
    facts = []
    for ours in ("signal", "signal_b"):
        if ours in series and factor != 1:
            series[ours] = (series[ours][0], np.round(series[ours][1] * factor, 9))
    if factor != 1:
        unit = found[columns["signal"]].unit
        facts.append(f"Values in {unit}, as the file states, are multiplied by {factor:g}.")
    for ours, (_, values) in series.items():
        blank = np.flatnonzero(~np.isfinite(values))
        if blank.size:
            place, value = f"sample {blank[0] + 1:,}", values[blank[0]]
            expected = f"a number ({blank.size:,} such samples)"
            troubles.add(place, columns[ours], value, expected)
    samples, shifted = sweep_frame(series)
    said = rate_shows(samples["t_s"].to_numpy(), channel)
    return LogSweep(samples, channel, (*facts, *shifted, *said), troubles.told())


def _refuse_mixed(found: dict[str, _Found], columns: Mapping[str, str]) -> None:
    """Both tracks are in one channel of the contract, so in one unit; travel is in per cent."""
    units = {ours: found[theirs].unit for ours, theirs in columns.items()}
    second, travel = units.get("signal_b", units["signal"]), units.get("travel_pct", "")
    if stated_channel(second) != stated_channel(units["signal"]):
        raise LogError(
            f"the second track is in “{second}”; expected “{units['signal']}” as the signal is"
        )
    if travel and stated_channel(travel)[0] != "percent":
        raise LogError(f"the travel is in “{travel}”; expected % of the travel")


def _likely(channels: tuple[LogChannel, ...], remembered: Mapping[str, str]) -> dict[str, str]:
    """What is remembered by name, else the only channel there is."""
    named = {ours: theirs for theirs, ours in remembered.items() if ours in SAMPLES[1:]}
    names = {channel.name for channel in channels}
    likely = {ours: theirs for ours, theirs in named.items() if theirs in names}
    if len(channels) == 1:
        likely.setdefault("signal", channels[0].name)
    return likely


def _label(name: str, one: _Found) -> str:
    rate = f", {rate_words(one.step_s)} a second" if one.step_s else ""
    return f"{name} ({one.unit or 'no unit'}{rate})"


def _usable(listed: list[_Found]) -> dict[str, _Found]:
    """Channels of numbers over time by their names."""
    return {one.name: one for one in listed if one.samples and not one.against}


def _others(listed: list[_Found]) -> str:
    """The channels that cannot be a sweep and why, the first few by name; blank without any."""
    against = [f"{one.name} ({one.against})" for one in listed if one.against]
    if not against:
        return ""
    more = f" and {len(against) - _NAMED:,} more" if len(against) > _NAMED else ""
    return f"No sweep can be in: {', '.join(against[:_NAMED])}{more}."


def _listed(file: LogFile, more: tuple[str, ...] = ()) -> list[_Found]:
    with file.path.open("rb") as opened:
        _refuse_other_versions(file, opened.read(64))
    try:
        return [_Found(**one) for one in json.loads(_child(file, list(more)))]
    except (ValueError, TypeError) as error:
        if isinstance(error, LogError):
            raise
        raise LogError(f"{file.name}: its channels cannot be listed; expected MDF 4") from None


def _refuse_other_versions(file: LogFile, first: bytes) -> None:
    size = file.path.stat().st_size
    if size > MOST_BYTES:
        raise LogError(
            f"{file.name} has {size / (1 << 20):,.0f} MB; expected at most {MOST_BYTES >> 20} MB"
        )
    version = first[8:16].split(b"\x00")[0].strip().decode("ascii", errors="replace")
    if not is_mdf(first) or not version.startswith("4."):
        raise LogError(f"{file.name} is of version “{version}”; expected MDF 4 (.mf4)")


def _read(file: LogFile, columns: Mapping[str, str]) -> tuple[dict[str, _Found], dict[str, Series]]:
    """All channels by name, and times and values of those chosen."""
    with tempfile.TemporaryDirectory(prefix="mdf-") as folder:
        out = Path(folder) / "read.npz"
        found = _usable(_listed(file, (str(out), *columns.values())))
        chosen(tuple(found), columns, ("signal",))
        with np.load(out, allow_pickle=False) as read:
            return found, {ours: (read[f"t{n}"], read[f"v{n}"]) for n, ours in enumerate(columns)}


def _child(file: LogFile, more: list[str]) -> str:
    """What the child prints, once it came through.

    Raises
    ------
    LogError
        It took more than it may, or what it reads is damaged.
    """
    need("asammdf", KIND)
    program = str(Path(mdf_child.__file__))
    bounds = [str(MEMORY_BYTES), str(MOST_SAMPLES)]
    command = [sys.executable, "-I", program, *bounds, str(file.path.resolve()), *more]
    one_thread = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "NUMEXPR_MAX_THREADS": "1"}
    try:
        done = subprocess.run(  # noqa: S603 - our own program; paths are arguments, no shell
            command,
            capture_output=True,
            timeout=LONGEST_S,
            check=False,
            env=os.environ | one_thread,
        )
    except subprocess.TimeoutExpired:
        raise LogError(
            f"{file.name} takes longer than {LONGEST_S} s to read; expected a shorter recording"
        ) from None
    said = done.stdout.decode(errors="replace").strip()
    if done.returncode == mdf_child.REFUSED:
        raise LogError(f"{file.name}: {said.splitlines()[-1] if said else 'it cannot be read'}")
    if done.returncode != 0:
        raise LogError(
            f"{file.name} unpacks to more than can be held in memory, or ends the program that "
            "reads it; expected an undamaged MDF 4 file"
        )
    return said.splitlines()[-1] if said else ""
