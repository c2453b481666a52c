"""Sweeps still packed: the bytes of a file that hold them, for whoever unpacks and measures them.

Packed, a sample takes two bytes; as numbers in a frame it takes fifty. Reading costs little, and
unpacking as much as measuring: so one process reads, and whoever measures is sent bytes to unpack.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
from pyarrow import parquet

from pipeline.kept_sweeps.part_format import SCHEMA, Sweeps, as_arrays

#: After what describes a Parquet file: its length in bytes, and the format's mark.
_LAST_BYTES = 8


@dataclass(frozen=True)
class Packed:
    """Some sessions of one file, and the bytes of it that hold them by where they begin.

    These are the row groups that the sessions are in, and the file's end, which describes it.
    """

    sessions: tuple[str, ...]
    pieces: tuple[tuple[int, bytes], ...]
    size: int


def packed(source: Any, sessions: Collection[str]) -> Packed:
    """Read what holds these sessions from a path, or from an open file, which is closed then."""
    with source.open("rb") if isinstance(source, Path) else source as file:
        sweeps = Sweeps(file)
        size = file.seek(0, 2)
        pieces = []
        for begin, end in _spans(sweeps.about, sweeps.groups_of(sessions), size):
            file.seek(begin)
            pieces.append((begin, file.read(end - begin)))
    return Packed(tuple(sorted(sessions)), tuple(pieces), size)


def _spans(about: parquet.FileMetaData, groups: list[int], size: int) -> list[tuple[int, int]]:
    """From where to where these row groups reach, and what describes the file."""
    described = size - _LAST_BYTES - about.serialized_size
    begins = [_begin(about.row_group(group)) for group in range(about.num_row_groups)]
    ends = [*begins, described][1:]
    return [*((begins[group], ends[group]) for group in groups), (described, size)]


def _begin(group: parquet.RowGroupMetaData) -> int:
    first = group.column(0)
    return first.dictionary_page_offset if first.has_dictionary_page else first.data_page_offset


def unpacked(files: Iterable[Packed]) -> tuple[list[str], np.ndarray, dict[str, np.ndarray]]:
    """Sweeps laid one behind the other: their sessions, where each begins and ends, the columns.

    Sweep i is at ``bounds[i]:bounds[i + 1]``; the columns are those of SAMPLES, as they came. A
    session of which there is no sample is left out.
    """
    sessions: list[str] = []
    sweeps = [SCHEMA.empty_table()]
    for file in files:
        source = Sweeps(_in_place(file))
        for session_id in file.sessions:
            samples = source.sweep(session_id)
            if samples.num_rows:
                sessions.append(session_id)
                sweeps.append(samples)
    bounds = np.cumsum([sweep.num_rows for sweep in sweeps])
    return sessions, bounds, as_arrays(pa.concat_tables(sweeps))


def _in_place(file: Packed) -> pa.BufferReader:
    """The pieces where they were; the rest, which nobody asks for, is blank."""
    whole = bytearray(file.size)
    for begin, piece in file.pieces:
        whole[begin : begin + len(piece)] = piece
    return pa.BufferReader(whole)
