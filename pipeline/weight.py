"""About how many bytes a result holds in memory, told fast enough to ask of each that is kept."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass

import numpy as np
import pandas as pd

#: A column is half a dozen objects of Python, however few its values.
COLUMN_BYTES = 1_000
#: A cell of a small frame: to count its text would take longer than it is worth.
CELL_BYTES = 24
#: From so many cells on a frame is counted to the byte.
MANY_CELLS = 20_000


def weight(value: object) -> int:
    """Bytes that a view, or what a page made of one, holds; frames of many rows exactly.

    What is no frame, array, text or a collection or dataclass of such counts as one small object.
    What two results share counts in each.
    """
    bytes_held, left = 0, [value]
    while left:
        one = left.pop()
        if isinstance(one, pd.DataFrame):
            bytes_held += _frame_weight(one)
        elif isinstance(one, pd.Series | pd.Index):
            bytes_held += COLUMN_BYTES + int(one.memory_usage(deep=True))
        elif isinstance(one, np.ndarray):
            bytes_held += sys.getsizeof(one) if one.base is None else one.nbytes
        else:
            bytes_held += sys.getsizeof(one)
            left.extend(_parts(one))
    return bytes_held


def _frame_weight(frame: pd.DataFrame) -> int:
    rows, columns = frame.shape
    if rows * columns < MANY_CELLS:
        return columns * (COLUMN_BYTES + rows * CELL_BYTES)
    return columns * COLUMN_BYTES + int(frame.memory_usage(deep=True).sum())


def _parts(one: object) -> Iterable[object]:
    if isinstance(one, Mapping):
        return [part for pair in one.items() for part in pair]
    if isinstance(one, list | tuple | set | frozenset):
        return one
    if is_dataclass(one) and not isinstance(one, type):
        return [getattr(one, field.name) for field in fields(one)]
    return ()
