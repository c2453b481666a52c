"""What every reader of a logger's file gives: its channels first, then the sweep that was chosen.

A reader never guesses a value: what cannot be read stays blank in its place and is named, what the
file does not say is asked for, and what a recording cannot show is said beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

#: The contract's columns of a sweep beside the session's identifier.
SAMPLES = ("t_s", "signal", "signal_b", "travel_pct")
MOST_BYTES = 256 << 20
MOST_SAMPLES = 3_000_000
#: What a reader may have to be told: which column is the time, or how many volts a full scale is.
TIME, SCALE = "time", "scale"
_NAMED = 20
_LONGEST_VALUE = 80
#: Units as files write them: the contract's channel, and by what a value is multiplied.
_UNITS: dict[str, tuple[str, float]] = {
    "v": ("volt", 1.0),
    "volt": ("volt", 1.0),
    "volts": ("volt", 1.0),
    "mv": ("volt", 0.001),
    "ohm": ("ohm", 1.0),
    "ohms": ("ohm", 1.0),
    "ω": ("ohm", 1.0),
    "kohm": ("ohm", 1000.0),
    "kω": ("ohm", 1000.0),
    "%": ("percent", 1.0),
    "percent": ("percent", 1.0),
}


class LogError(ValueError):
    """A file cannot be read as a recording; the message says where and what was expected."""


class MissingExtraError(LogError):
    """The libraries that read this kind of file are not installed; the message says how to."""


@dataclass(frozen=True)
class LogTrouble:
    """One thing in a file that cannot stand as it is."""

    file: str
    place: str
    column: str
    value: str
    expected: str

    def __str__(self) -> str:
        """Plain words, the file first."""
        column = f", {self.column}" if self.column else ""
        return f"{self.file}, {self.place}{column}: “{self.value}”; expected {self.expected}"


@dataclass
class Troubles:
    """Troubles of one file as they are met: all counted, the first ones named."""

    file: str
    named: list[LogTrouble] = field(default_factory=list)
    count: int = 0

    def add(self, place: str, column: str, value: object, expected: str) -> None:
        """Note a trouble."""
        self.count += 1
        if len(self.named) < _NAMED:
            shown = str(value).encode(errors="backslashreplace").decode()
            shown = shown if len(shown) <= _LONGEST_VALUE else f"{shown[:_LONGEST_VALUE]}…"
            self.named.append(LogTrouble(self.file, place, column, shown, expected))

    def told(self) -> tuple[str, ...]:
        """A sentence on each, and one on how many are left unnamed."""
        said = tuple(map(str, self.named))
        more = self.count - len(self.named)
        return (*said, f"and {more:,} more") if more > 0 else said


@dataclass(frozen=True)
class LogFile:
    """A file to be read: where it lies, and what it is called to people."""

    path: Path
    name: str

    def content(self) -> bytes:
        """All bytes.

        Raises
        ------
        LogError
            There are none, or more than a reader takes.
        """
        size = self.path.stat().st_size
        if not size:
            raise LogError(f"{self.name} is empty; expected a recording")
        if size > MOST_BYTES:
            raise LogError(
                f"{self.name} has {size / (1 << 20):,.0f} MB; expected at most "
                f"{MOST_BYTES >> 20} MB: cut the recording to the slow passes"
            )
        return self.path.read_bytes()


@dataclass(frozen=True)
class LogChannel:
    """One channel of a file: ``name`` tells it from all others, ``label`` is for people.

    ``unit`` is as the file states it, blank where it states none; ``samples`` and ``step_s``
    (median time between samples) are None where they are not known before the time is.
    """

    name: str
    label: str
    unit: str = ""
    samples: int | None = None
    step_s: float | None = None


@dataclass(frozen=True)
class LogLook:
    """A file looked through.

    ``asks`` says what the reader must be told beside which channel is which; ``likely`` is our
    columns to channels as far as the file, or what is remembered, tells; ``own_names`` whether the
    channels have names of the shop's own choosing, which are worth remembering.
    """

    kind: str
    channels: tuple[LogChannel, ...]
    asks: frozenset[str] = frozenset()
    likely: Mapping[str, str] = field(default_factory=dict)
    facts: tuple[str, ...] = ()
    troubles: tuple[str, ...] = ()
    own_names: bool = False

    def channel_of(self, name: str | None) -> str | None:
        """The contract's sweep channel that a channel's stated unit amounts to, None without."""
        unit = next((one.unit for one in self.channels if one.name == name), "")
        return stated_channel(unit)[0]


@dataclass(frozen=True)
class LogChoice:
    """What a person says of a file.

    Parameters
    ----------
    columns : mapping
        Our columns to channels of the file; ``signal`` at least.
    time_in_ms : bool
        Whether a time column is in milliseconds.
    volts_at_full_scale, offset_v : float
        Volts at a reading of full scale less those at zero, and volts at zero.
    keeps_levels : bool or None
        Whether the input keeps slow levels (DC-coupled); None where nobody said.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    time_in_ms: bool = False
    volts_at_full_scale: float | None = None
    offset_v: float = 0.0
    keeps_levels: bool | None = None


@dataclass(frozen=True)
class Recording:
    """A recording that is handed in: the bench test it belongs to, and what was said of it."""

    session_id: str
    choice: LogChoice


@dataclass(frozen=True)
class LogSweep:
    """The sweep that a file holds.

    ``samples`` has ``t_s`` and ``signal``, and ``signal_b`` and ``travel_pct`` where chosen: as
    numbers, or as the text that the file has. ``channel`` is the contract's sweep channel where
    the file tells it. ``not_judged`` says why nothing may be concluded from it, if so: it is then
    kept without a channel.
    """

    samples: pd.DataFrame
    channel: str | None = None
    facts: tuple[str, ...] = ()
    troubles: tuple[str, ...] = ()
    not_judged: str = ""


@dataclass(frozen=True)
class Reader:
    """A kind of file: how it is told by its first bytes, looked through, and read."""

    kind: str
    is_of: Callable[[bytes], bool]
    look: Callable[[LogFile, Mapping[str, str]], LogLook]
    sweep: Callable[[LogFile, LogChoice], LogSweep]


def stated_channel(unit: str) -> tuple[str | None, float]:
    """The contract's channel of a stated unit and the factor to it; None where it is no such."""
    return _UNITS.get(unit.strip().casefold(), (None, 1.0))


def median_step_s(t_s: np.ndarray) -> float | None:
    """Median time between samples, None where there is none."""
    steps = np.diff(t_s)
    steps = steps[np.isfinite(steps) & (steps > 0)]
    return float(np.median(steps)) if steps.size else None


def chosen(look_names: tuple[str, ...], columns: Mapping[str, str], must: tuple[str, ...]) -> None:
    """Refuse a choice of channels that the file does not have, or that lacks one.

    Raises
    ------
    LogError
        It does.
    """
    listed = ", ".join(look_names[:12]) + (" …" if len(look_names) > 12 else "")
    for ours in must:
        if ours not in columns:
            raise LogError(f"no column is named for {ours}; expected one of {listed}")
    for ours, theirs in columns.items():
        if theirs not in look_names:
            raise LogError(f"no column {theirs} (for {ours}); expected one of {listed}")
