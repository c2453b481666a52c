"""Recordings of loggers as nobody should hand them in: CAN logs, sound, tables; bytes by a seed."""

from __future__ import annotations

import random
import struct
from collections.abc import Callable

from tests.fuzz.made_files import ODD, damaged


def as_table(lot: random.Random) -> bytes:
    """A logger's table of text."""
    mark = lot.choice((",", ";", "\t", "  "))
    header = [mark.join(("time", "signal", "more"))] if lot.random() < 0.5 else []
    oddness = lot.choice((0.0, 0.05, 0.7))
    lines = [
        mark.join(_cell(lot, oddness) for _ in range(3)) for _ in range(lot.choice((0, 1, 40)))
    ]
    return "\n".join([*header, *lines]).encode()


def _cell(lot: random.Random, oddness: float) -> str:
    return lot.choice(ODD) if lot.random() < oddness else f"{lot.uniform(-5, 50):.4f}"


def as_candump(lot: random.Random) -> bytes:
    """A CAN log: frames of the throttle, of all else, and of no sense."""
    t = lot.choice((0.0, 1_436_509_052.0))
    lines = []
    for _ in range(lot.choice((0, 1, 5, 60))):
        t += lot.choice((0.0, 0.02, 0.1, -0.5)) if lot.random() < 0.1 else 0.05
        lines.append(f"({t:.6f}) {lot.choice(('can0', 'can0', 'vcan1', '0'))} {_frame(lot)}")
    return lot.choice(("\n", "\n", "\r\n")).join(lines).encode("utf-8", "surrogatepass")


def _frame(lot: random.Random) -> str:
    sender = lot.choice(("7E8", "7E8", "7E9", "18DAF110", "123", "20000080", "7DF"))
    if lot.random() < 0.1:
        return f"{sender}#{lot.choice(('R', 'R8', '##1AA', '', 'zz', *ODD))}"
    if lot.random() < 0.3:
        return f"{sender}#{lot.randbytes(lot.randrange(9)).hex().upper()}"
    pid = lot.choice((0x11, 0x11, 0x47, 0x49, 0x4C, 0x0C))
    said = bytes([lot.choice((0x41, 0x41, 0x41, 0x7F, 0x43)), pid, lot.randrange(256)])
    length = lot.choice((3, 3, 3, 2, 7, 0, 0x10, 0x21))
    return f"{sender}#{bytes([length]).hex()}{said.hex()}{'55' * lot.randrange(5)}"


def as_wav(lot: random.Random) -> bytes:
    """A sound recording, its parts in an odd order now and then."""
    coding, bits = lot.choice(
        ((1, 8), (1, 16), (1, 24), (1, 32), (3, 32), (3, 64), (2, 4), (1, 12))
    )
    channels, rate = lot.choice((1, 2, 2, 0, 9)), lot.choice((8_000, 48_000, 0, 96_000))
    block = channels * bits // 8
    body = lot.randbytes(block * lot.choice((0, 1, 30)) + lot.choice((0, 0, 1)))
    head = struct.pack("<HHIIHH", coding, channels, rate, rate * block, block, bits)
    if lot.random() < 0.1:
        extension = struct.pack("<HHIH14x", 22, bits, 0, coding)
        head = struct.pack("<H", 0xFFFE) + head[2:] + extension
    parts = [(b"fmt ", head), (b"LIST", lot.randbytes(lot.randrange(9))), (b"data", body)]
    if lot.random() < 0.1:
        lot.shuffle(parts)
    inside = b"".join(
        name + struct.pack("<I", len(part)) + part + b"\x00" * (len(part) % 2)
        for name, part in parts
    )
    return b"RIFF" + struct.pack("<I", len(inside) + 4) + b"WAVE" + inside


KINDS: tuple[Callable[[random.Random], bytes], ...] = (as_table, as_candump, as_wav)


def made_recording(lot: random.Random) -> bytes:
    """A recording, damaged every second time."""
    content = lot.choice(KINDS)(lot)
    return damaged(lot, content) if lot.random() < 0.5 else content
