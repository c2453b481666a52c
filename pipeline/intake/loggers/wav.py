"""WAV from a sound card: samples under a scale that the person states.

A sound card is usually AC-coupled: it passes on what changes fast and loses slow levels and drift.
Where the travel is lost so, nothing may be concluded, and the sweep is kept without a channel.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.intake.loggers.rate_shows import rate_shows
from pipeline.intake.loggers.recording import (
    MOST_SAMPLES,
    SCALE,
    LogChannel,
    LogChoice,
    LogError,
    LogFile,
    LogLook,
    LogSweep,
    Troubles,
    chosen,
)

KIND = "sound recording (WAV)"
MOST_RATE_HZ = 48_000
MOST_CHANNELS = 8
MOST_VOLTS = 1000.0
LOST_LEVELS = (
    "Recorded through an input that loses slow levels and drift (a sound card is usually "
    "AC-coupled), or of which nobody said that it keeps them: where on the travel the throttle "
    "stood and how deep a drop-out is cannot be told, so nothing is concluded from this sweep."
)
BELOW_ZERO = (
    "A sensor's output lies between ground and supply, but {share:.0f} in 100 samples lie below "
    "0 V: the input loses slow levels after all, its zero is another one, or its leads are "
    "swapped. Nothing is concluded from this sweep."
)
#: A greater share of samples below 0 V than noise in drop-outs can bring (assumed).
_BELOW_SHARE = 0.05
_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
_KINDS = {(_PCM, 8), (_PCM, 16), (_PCM, 24), (_PCM, 32), (_FLOAT, 32), (_FLOAT, 64)}


@dataclass(frozen=True)
class _Sound:
    """A file's samples as they came, shape (n, channels), and what they are of."""

    coding: int
    bits: int
    rate_hz: int
    frames: np.ndarray

    @property
    def top(self) -> float:
        """The greatest share of full scale that a sample can have."""
        return 1.0 if self.coding == _FLOAT else 1.0 - 2.0 ** (1 - self.bits)


def is_wav(first: bytes) -> bool:
    """Whether a file begins as WAV does."""
    return first[:4] in (b"RIFF", b"RIFX", b"RF64") and first[8:12] == b"WAVE"


def look(file: LogFile, remembered: Mapping[str, str]) -> LogLook:
    """The channels of a sound recording."""
    troubles = Troubles(file.name)
    sound = _read(file, troubles)
    names = _names(sound)
    step_s = 1.0 / sound.rate_hz
    channels = [LogChannel(name, name, "", len(sound.frames), step_s) for name in names]
    return LogLook(
        KIND,
        tuple(channels),
        frozenset({SCALE}),
        {"signal": names[0]},
        (_what(sound),),
        troubles.told(),
    )


def sweep(file: LogFile, choice: LogChoice) -> LogSweep:
    """Volts of the chosen channels by the stated scale; no conclusion where levels are lost."""
    troubles = Troubles(file.name)
    volts_at_full, offset_v = _scale(choice)
    sound = _read(file, troubles)
    names = _names(sound)
    columns = {ours: theirs for ours, theirs in choice.columns.items() if ours != "t_s"}
    chosen(names, columns, ("signal",))
    if "travel_pct" in columns:
        raise LogError("a sound recording holds volts; expected no channel for the travel")
    samples = {"t_s": np.arange(len(sound.frames)) / sound.rate_hz}
    for ours, theirs in columns.items():
        part = _share(sound, names.index(theirs))
        _note_reach(sound, part, theirs, troubles)
        with np.errstate(all="ignore"):  # floating point may hold anything
            samples[ours] = np.round(volts_at_full * part + offset_v, 6)
    said = f"Full scale stands for {volts_at_full:g} V, zero for {offset_v:g} V, as stated."
    not_judged = _not_judged(choice, samples["signal"])
    shows = [not_judged] if not_judged else rate_shows(samples["t_s"], "volt")
    return LogSweep(
        pd.DataFrame(samples),
        None if not_judged else "volt",
        (said, *shows),
        troubles.told(),
        not_judged,
    )


def _scale(choice: LogChoice) -> tuple[float, float]:
    full, offset = choice.volts_at_full_scale, choice.offset_v
    if full is None:
        raise LogError(
            "the volts at full scale are not stated; expected the voltage that drives this input "
            "to full scale, as measured with a known one"
        )
    if not (np.isfinite(full) and 0 < full <= MOST_VOLTS):
        raise LogError(f"{full:g} V at full scale; expected more than 0 and up to {MOST_VOLTS:g} V")
    if not (np.isfinite(offset) and abs(offset) <= MOST_VOLTS):
        raise LogError(f"{offset:g} V at zero; expected -{MOST_VOLTS:g} to {MOST_VOLTS:g} V")
    return full, offset


def _not_judged(choice: LogChoice, volts: np.ndarray) -> str:
    if not choice.keeps_levels:
        return LOST_LEVELS
    below = float(np.mean(volts < 0.0)) if volts.size else 0.0
    return BELOW_ZERO.format(share=100 * below) if below > _BELOW_SHARE else ""


def _read(file: LogFile, troubles: Troubles) -> _Sound:
    content = file.content()
    if content[:4] != b"RIFF" or not is_wav(content):
        raise LogError(f"{file.name} begins with {content[:12]!r}; expected RIFF and WAVE")
    head = body = None
    for name, at, size in _chunks(content):
        if name == b"fmt " and head is None:
            head = content[at : at + size]
        elif name == b"data" and head is not None:
            body = (at, size)
            break
    if head is None or body is None:
        missing = "data" if head is not None else "fmt"
        raise LogError(f"{file.name} has no part “{missing}”; expected a WAV with fmt, then data")
    coding, channels, rate_hz, bits = _head(file, head)
    at, size = body
    there = min(size, len(content) - at)
    width = channels * bits // 8
    count = there // width
    cut = _cut(size, there, width)
    if cut:
        troubles.add(f"byte {at:,}", "data", f"{size:,} bytes", cut)
    if not count:
        raise LogError(f"{file.name} holds no sample; expected at least one of {width} bytes")
    if count > MOST_SAMPLES:
        raise LogError(
            f"{file.name} holds {count:,} samples; expected at most {MOST_SAMPLES:,} "
            f"({MOST_SAMPLES / rate_hz:,.0f} s at this rate): cut it to the slow passes"
        )
    raw = np.frombuffer(content, dtype=np.uint8, count=count * width, offset=at)
    return _Sound(coding, bits, rate_hz, raw.reshape(count, channels, bits // 8))


def _chunks(content: bytes) -> Iterator[tuple[bytes, int, int]]:
    """Name, place and stated size of each part; a part's size is even on the disk."""
    at = 12
    while at + 8 <= len(content):
        name, size = struct.unpack_from("<4sI", content, at)
        yield name, at + 8, size
        at += 8 + size + size % 2


def _head(file: LogFile, head: bytes) -> tuple[int, int, int, int]:
    if len(head) < 16:
        raise LogError(f"{file.name}: its part “fmt” has {len(head)} bytes; expected 16 or more")
    coding, channels, rate_hz, _, block, bits = struct.unpack_from("<HHIIHH", head)
    if coding == _EXTENSIBLE and len(head) >= 26:
        coding = struct.unpack_from("<H", head, 24)[0]
    if (coding, bits) not in _KINDS:
        raise LogError(
            f"{file.name} has samples of coding {coding} with {bits} bits; expected PCM with 8, "
            "16, 24 or 32 bits, or floating point with 32 or 64"
        )
    if not 1 <= channels <= MOST_CHANNELS or block != channels * bits // 8:
        raise LogError(
            f"{file.name} states {channels} channels in {block} bytes; expected 1 to "
            f"{MOST_CHANNELS}, each of {bits // 8} bytes"
        )
    if not 1 <= rate_hz <= MOST_RATE_HZ:
        raise LogError(
            f"{file.name} has {rate_hz:,} samples a second; expected 1 to {MOST_RATE_HZ:,}"
        )
    return coding, channels, rate_hz, bits


def _cut(size: int, there: int, width: int) -> str:
    if there < size:
        return f"as many as are there; {there:,} are, and whole samples among them are read"
    return f"a multiple of {width}; the last {size % width} are left out" if size % width else ""


def _share(sound: _Sound, channel: int) -> np.ndarray:
    """One channel's samples as shares of full scale, shape (n,)."""
    raw = np.ascontiguousarray(sound.frames[:, channel, :])
    if sound.coding == _FLOAT:
        with np.errstate(invalid="ignore"):  # a signalling NaN, which is told as no number below
            return raw.view(f"<f{sound.bits // 8}")[:, 0].astype(float)
    if sound.bits == 8:
        return (raw[:, 0].astype(float) - 128.0) / 128.0
    if sound.bits == 24:  # laid into the upper three bytes of four, so that the sign stands right
        wide = np.zeros((len(raw), 4), dtype=np.uint8)
        wide[:, 1:] = raw
        return wide.view("<i4")[:, 0] / 2.0**31
    return raw.view(f"<i{sound.bits // 8}")[:, 0] / 2.0 ** (sound.bits - 1)


def _note_reach(sound: _Sound, part: np.ndarray, name: str, troubles: Troubles) -> None:
    """Name samples that are no number, and those at full scale: the input was overdriven."""
    broken = np.flatnonzero(~np.isfinite(part))
    if broken.size:
        place, value = f"sample {broken[0] + 1:,}", part[broken[0]]
        troubles.add(place, name, value, f"a number ({broken.size:,} such samples)")
    over = np.flatnonzero((part >= sound.top) | (part <= -1.0))
    if over.size:
        place, value = f"sample {over[0] + 1:,}", "full scale"
        expected = f"less than full scale ({over.size:,} such samples): record at a lower level"
        troubles.add(place, name, value, expected)


def _names(sound: _Sound) -> tuple[str, ...]:
    count = sound.frames.shape[1]
    if count == 2:
        return ("left", "right")
    return tuple(f"channel {n}" for n in range(1, count + 1))


def _what(sound: _Sound) -> str:
    count, channels = sound.frames.shape[:2]
    kind = "floating point" if sound.coding == _FLOAT else "whole numbers"
    return (
        f"{count:,} samples in {channels} channel{'s' if channels > 1 else ''} at "
        f"{sound.rate_hz:,} a second, {sound.bits} bits, {kind}."
    )
