"""Raw CAN logs in candump's log text: what control units answer about the throttle.

Replies to mode 01 in single frames of ISO 15765-4 (11-bit identifiers 7E8 to 7EF, 29-bit ones
18DAF100 to 18DAF1FF): length, 41, then number and value of one or more readings. A reading of the
throttle has one byte A and means 100 A / 255 %.
"""

from __future__ import annotations

import io
import re
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from pipeline.intake.loggers.extra import need
from pipeline.intake.loggers.rate_shows import rate_shows
from pipeline.intake.loggers.recording import (
    MOST_SAMPLES,
    LogChannel,
    LogChoice,
    LogError,
    LogFile,
    LogLook,
    LogSweep,
    Troubles,
    chosen,
    median_step_s,
)
from pipeline.intake.loggers.side_by_side import sweep_frame

KIND = "CAN log (candump text)"
#: Mode 01 numbers of throttle readings (SAE J1979, from memory), all 100 A / 255 %.
PIDS = {
    0x11: "throttle position",
    0x45: "relative throttle position",
    0x47: "second throttle position (B)",
    0x49: "grip or pedal position (D)",
    0x4A: "grip or pedal position, second (E)",
    0x4C: "commanded throttle, no sensor",
}
#: A first choice and what is its second track, in the order of liking.
_TRACKS = ((0x11, 0x47), (0x49, 0x4A), (0x47, None), (0x4A, None), (0x45, None), (0x4C, None))
_POSITIVE, _NEGATIVE = 0x41, 0x7F
_LINE = re.compile(
    r"\((?P<time>\d{1,12}(\.\d{1,9})?)\)\s+(?P<bus>\S{1,32})\s+"
    r"(?P<id>[0-9A-Fa-f]{3}|[0-9A-Fa-f]{8})#"
    r"(?P<data>#[0-9A-Fa-f]([0-9A-Fa-f]{2}){0,64}|R\d?|([0-9A-Fa-f]{2}){0,8})(\s+[RT])?"
)
_FORM = "(seconds) interface identifier#bytes, as candump -L writes it"
_BEGIN = re.compile(rb"\s*\(\d{1,12}(\.\d{1,9})?\)\s+\S{1,32}\s+[0-9A-Fa-f]{3,8}#")


@dataclass
class _Log:
    """What was read: replies by interface, identifier and number, and what was passed over."""

    troubles: Troubles
    replies: dict[tuple[str, int, int], list[tuple[float, int]]] = field(
        default_factory=lambda: defaultdict(list)
    )
    passed: Counter[str] = field(default_factory=Counter)
    frames: int = 0
    begin_s: float | None = None


def is_candump(first: bytes) -> bool:
    """Whether a file begins as candump's log text does."""
    return _BEGIN.match(first.removeprefix(b"\xef\xbb\xbf")) is not None


def look(file: LogFile, remembered: Mapping[str, str]) -> LogLook:
    """The throttle readings that control units gave in a log."""
    log = _read(file)
    names = _names(log)
    channels = []
    for name, key in names.items():
        t_s = np.array([t for t, _ in log.replies[key]])
        label = f"{name}: {PIDS[key[2]]}"
        channels.append(LogChannel(name, label, "%", t_s.size, median_step_s(t_s)))
    return LogLook(
        KIND,
        tuple(channels),
        likely=_likely(names),
        facts=tuple(_facts(log)),
        troubles=log.troubles.told(),
    )


def sweep(file: LogFile, choice: LogChoice) -> LogSweep:
    """Replies of the chosen numbers in per cent, in the order and at the times of the log."""
    log = _read(file)
    names = _names(log)
    columns = {ours: theirs for ours, theirs in choice.columns.items() if ours != "t_s"}
    chosen(tuple(names), columns, ("signal",))
    series = {ours: _series(log.replies[names[theirs]]) for ours, theirs in columns.items()}
    samples, shifted = sweep_frame(series)
    said = rate_shows(samples["t_s"].to_numpy(), "percent")
    commanded = [theirs for theirs in columns.values() if names[theirs][2] == 0x4C]
    if commanded:
        said.append("The commanded throttle is what the control unit asks for, not what is there.")
    return LogSweep(samples, "percent", (*shifted, *said), log.troubles.told())


def _series(replies: list[tuple[float, int]]) -> tuple[np.ndarray, np.ndarray]:
    t_s, readings = np.array(replies, dtype=float).T
    return t_s, 100.0 * readings / 255.0


def _read(file: LogFile) -> _Log:
    """Each line is a frame or a trouble by its number; python-can reads those of control units."""
    log = _Log(Troubles(file.name))
    numbers, lines = [], []
    for number, line in _lines(file):
        found = _LINE.fullmatch(line)
        if found is None:
            log.troubles.add(f"line {number:,}", "", line, _FORM)
            continue
        log.frames += 1
        if not _is_reply_id(found["id"]):
            log.passed["frames of other senders"] += 1
        elif found["data"].startswith("#") or found["data"].startswith("R"):
            log.passed["frames without classic data"] += 1
        else:
            numbers.append(number)
            lines.append(line)
    if not log.frames:
        raise LogError(f"{file.name} holds no line of a CAN log; expected {_FORM}")
    if len(lines) > MOST_SAMPLES:
        raise LogError(
            f"{file.name} holds {len(lines):,} replies; expected at most {MOST_SAMPLES:,}: cut it "
            "to the slow passes"
        )
    for number, message in zip(numbers, _messages(lines), strict=True):
        _take(log, number, message)
    if not log.replies:
        listed = ", ".join(f"{pid:02X}" for pid in PIDS)
        raise LogError(
            f"{file.name} holds {log.frames:,} frames and no reading of the throttle; expected "
            f"replies to mode 01 with one of {listed}"
        )
    return log


def _lines(file: LogFile) -> Iterator[tuple[int, str]]:
    text = file.content().decode("utf-8-sig", errors="replace")
    for number, line in enumerate(text.split("\n"), start=1):
        if line.strip():
            yield number, line.strip()


def _messages(lines: list[str]) -> Iterator[Any]:
    need("can", KIND)
    from can.io import CanutilsLogReader

    return iter(CanutilsLogReader(io.StringIO("\n".join(lines))))


def _is_reply_id(text: str) -> bool:
    number = int(text, 16)
    return 0x7E8 <= number <= 0x7EF if len(text) == 3 else 0x18DAF100 <= number <= 0x18DAF1FF


def _take(log: _Log, number: int, message: Any) -> None:
    """Take the readings of one reply, or say why there is none."""
    data = bytes(message.data)
    kind = data[0] >> 4 if data else None
    if kind in (1, 2, 3):
        log.passed["parts of longer messages"] += 1
        return
    length = data[0] if data else 0
    if kind != 0 or not 2 <= length <= len(data) - 1:
        expected = "a single frame: its length from 02 to 07, then so many bytes"
        log.troubles.add(f"line {number:,}", f"bytes of {_hex_id(message)}", data.hex(), expected)
        return
    said = data[1 : 1 + length]
    if said[0] == _NEGATIVE:
        log.passed["negative replies"] += 1
    elif said[0] != _POSITIVE or said[1] not in PIDS:
        log.passed["replies about other things"] += 1
    else:
        _take_readings(log, number, message, said[1:])


def _take_readings(log: _Log, number: int, message: Any, said: bytes) -> None:
    """Number and value in turn, up to a number whose length is not ours to know."""
    for at in range(0, len(said), 2):
        pid, value = said[at], said[at + 1 : at + 2]
        if pid not in PIDS:
            log.passed["readings of other things behind ours"] += 1
            return
        if not value:
            shown = said.hex()
            expected = f"a byte behind {pid:02X}"
            log.troubles.add(f"line {number:,}", f"bytes of {_hex_id(message)}", shown, expected)
            return
        key = (str(message.channel), message.arbitration_id, pid)
        if log.begin_s is None:
            log.begin_s = message.timestamp
        log.replies[key].append((round(message.timestamp - log.begin_s, 6), value[0]))


def _hex_id(message: Any) -> str:
    return f"{message.arbitration_id:0{8 if message.is_extended_id else 3}X}"


def _names(log: _Log) -> dict[str, tuple[str, int, int]]:
    """Each reading by its number and who gave it, and the interface where there are several."""
    buses = {bus for bus, _, _ in log.replies}
    names = {}
    for bus, sender, pid in sorted(log.replies, key=lambda key: (key[2], key[1], key[0])):
        on = f" on {bus}" if len(buses) > 1 else ""
        names[f"PID {pid:02X} of {sender:X}{on}"] = (bus, sender, pid)
    return names


def _likely(names: dict[str, tuple[str, int, int]]) -> dict[str, str]:
    """The throttle's own position and its second track, of one sender."""
    by_pid: dict[int, str] = {}
    for name, (_, _, pid) in names.items():
        by_pid.setdefault(pid, name)
    for pid, second in _TRACKS:
        if pid in by_pid:
            found = {"signal": by_pid[pid]}
            if second in by_pid and names[by_pid[second]][:2] == names[by_pid[pid]][:2]:
                found["signal_b"] = by_pid[second]
            return found
    return {}


def _facts(log: _Log) -> list[str]:
    passed = ", ".join(f"{count:,} {what}" for what, count in sorted(log.passed.items()))
    read = sum(map(len, log.replies.values()))
    said = f"{log.frames:,} frames, {read:,} readings of the throttle"
    return [f"{said}; passed over: {passed}." if passed else f"{said}."]
