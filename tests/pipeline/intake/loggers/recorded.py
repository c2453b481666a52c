"""Recordings of loggers made for the tests: one invented slow sweep as each kind of file has it."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np

SUPPLY_V = 5.0
#: The golden line: A = 2F hex = 47, so 100 * 47 / 255 = 18.431 %.
GOLDEN = "7E8#0341112F55555555"


def sweep_volts(
    rate_hz: float, *, passes: int = 6, stroke_s: float = 3.0, dropouts: tuple[float, ...] = ()
) -> tuple[np.ndarray, np.ndarray]:
    """Times and volts of slow passes from stop to stop and back, with a rest at each stop.

    ``dropouts`` are the travels, in per cent, at which the output falls to 0.2 V for 4 ms on each
    pass.
    """
    rest_s, rng = 0.3, np.random.default_rng(7)
    leg = np.concatenate(
        [np.zeros(int(rest_s * rate_hz)), np.linspace(0, 1, int(stroke_s * rate_hz))]
    )
    travel = np.concatenate([leg if n % 2 == 0 else 1 - leg for n in range(passes)])
    t_s = np.arange(travel.size) / rate_hz
    volts = 0.5 + 4.0 * travel + rng.normal(0, 0.002, travel.size)
    held = max(1, round(0.004 * rate_hz))
    for place in dropouts:
        crossed = np.flatnonzero(np.diff(np.signbit(travel - place / 100)))
        for first in crossed:
            volts[first : first + held] = 0.2
    return t_s, volts


def candump_text(
    rate_hz: float = 8.0, *, second: bool = False, begin_s: float = 1_436_509_052.249713
) -> str:
    """A polled sweep in candump's log text: replies among requests and other frames."""
    t_s, volts = sweep_volts(rate_hz)
    lines = []
    for t, pct in zip(t_s, 100 * (volts - 0.5) / 4.0, strict=True):
        a = int(np.clip(round(255 * pct / 100), 0, 255))
        at = begin_s + t
        lines.append(f"({at:.6f}) can0 7DF#0201115555555555")
        lines.append(f"({at + 0.004:.6f}) can0 7E8#034111{a:02X}55555555")
        lines.append(f"({at + 0.005:.6f}) can0 1A0#00112233")
        if second:
            lines.append(f"({at + 0.030:.6f}) can0 7E8#034147{a:02X}55555555")
    return "\n".join(lines) + "\n"


def wav_bytes(
    channels: list[np.ndarray], rate_hz: int = 48_000, *, bits: int = 16, coding: int = 1
) -> bytes:
    """Shares of full scale (one array a channel) as a WAV file."""
    shares = np.stack(channels, axis=1)
    if coding == 3:
        body = shares.astype(f"<f{bits // 8}").tobytes()
    elif bits == 8:
        body = np.clip(np.round(128 * shares) + 128, 0, 255).astype(np.uint8).tobytes()
    else:
        top = 2 ** (bits - 1)
        whole = np.clip(np.round(top * shares), -top, top - 1).astype("<i4")
        body = whole.reshape(*whole.shape, 1).view(np.uint8)[..., : bits // 8].tobytes()
    block = shares.shape[1] * bits // 8
    head = struct.pack("<HHIIHH", coding, shares.shape[1], rate_hz, rate_hz * block, block, bits)
    inside = b"fmt " + struct.pack("<I", len(head)) + head
    inside += b"data" + struct.pack("<I", len(body)) + body + b"\x00" * (len(body) % 2)
    return b"RIFF" + struct.pack("<I", len(inside) + 4) + b"WAVE" + inside


def ac_coupled(values: np.ndarray, rate_hz: float, corner_hz: float = 5.0) -> np.ndarray:
    """What a high-pass of first order leaves: as a sound card's input has."""
    from scipy.signal import butter, sosfilt

    return sosfilt(butter(1, corner_hz, "highpass", fs=rate_hz, output="sos"), values)


def write_mdf(path: Path, rate_hz: float = 200.0, *, dropouts: tuple[float, ...] = ()) -> Path:
    """An MDF 4 file: volts fast, the control unit's per cent slowly, and channels of no use."""
    from asammdf import MDF, Signal

    t_s, volts = sweep_volts(rate_hz, dropouts=dropouts)
    slow_s, slow = sweep_volts(10.0)
    mdf = MDF(version="4.10")
    mdf.append(
        [
            Signal(volts, t_s + 12.5, name="TPS", unit="V"),
            Signal(1000 * volts, t_s + 12.5, name="TPS fine", unit="mV"),
        ]
    )
    counts = np.clip(np.round(255 * (slow - 0.5) / 4.0), 0, 255).astype(np.uint8)
    scale = {"a": 100 / 255, "b": 0.0}
    mdf.append([Signal(counts, slow_s + 12.5, name="grip", unit="%", conversion=scale)])
    formula = {"formula": "X1*2"}
    mdf.append([Signal(counts, slow_s + 12.5, name="made", unit="", conversion=formula)])
    mdf.append([Signal(np.array([b"on"] * slow.size), slow_s, name="words", encoding="utf-8")])
    mdf.append([Signal(counts, slow_s + 12.5, name="grip", unit="V")])
    mdf.save(path, overwrite=True)
    mdf.close()
    return path
