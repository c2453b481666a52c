"""Texts of many rows told by number: a million checks say a few thousand different things.

A frame whose texts stand as categories holds what its schema declares; each different text stands
in it once, and so takes a small part of the memory and of the time.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from models.frames import Column, FrameError, FrameSchema
from models.statics.wording import shown, shown_alike


@dataclass(frozen=True)
class Coded:
    """Texts of n rows: ``numbers`` of shape (n,) are places in ``said``; None there is blank."""

    numbers: np.ndarray
    said: Sequence[str | None]

    def with_questions(self, row: np.ndarray, asked: Mapping[int, str]) -> Coded:
        """Questions in place of what is said; ``row``, shape (n,), are ascending and name them."""
        places = places_of(row, asked)
        texts = {row[place]: asked[row[place]] for place in places.tolist()}
        numbers = self.numbers.copy()
        numbers[places] = len(self.said) + np.arange(len(places))
        return Coded(numbers, [*self.said, *texts.values()])


def places_of(row: np.ndarray, asked: Mapping[int, str]) -> np.ndarray:
    """Where the keys of what is asked stand in ``row``, ascending, of shape (n,)."""
    return np.flatnonzero(np.isin(row, np.fromiter(asked, dtype=np.int64, count=len(asked))))


def same_text(text: str | None, n: int) -> Coded:
    """One text for n rows."""
    return Coded(np.zeros(n, dtype=np.int64), [text])


def coded_column(texts: pd.Series) -> Coded:
    """A column of texts by number; its blanks are the last of what is said."""
    numbers, said = pd.factorize(texts)
    return Coded(np.where(numbers < 0, len(said), numbers), [*said, None])


def coded_values(values: np.ndarray, unit: str) -> Coded:
    """`shown` of each value of shape (n,), worked out once for values that are shown alike."""
    alike = shown_alike(values, unit)
    # by their bits, since a minus before nothing is shown and counts for nothing as a number
    numbers, bits = pd.factorize(alike.view(np.int64))
    return Coded(numbers, [shown(value, unit) for value in bits.view(np.float64)])


def said_once(keys: Sequence[np.ndarray], words: Callable[..., str]) -> Coded:
    """``words`` of the numbers of each row, worked out once for all rows that are alike.

    Parameters
    ----------
    keys : sequence of arrays of shape (n,)
        Whole numbers from 0, as ``words`` takes them, in its order.
    words : callable
        A function of its arguments alone.
    """
    shape = tuple(int(key.max(initial=0)) + 1 for key in keys)
    numbers, found = pd.factorize(np.ravel_multi_index(tuple(keys), shape))
    alike = [places.tolist() for places in np.unravel_index(found, shape)]
    return Coded(numbers, [words(*places) for places in zip(*alike, strict=True)])


def category(parts: Sequence[Coded], order: np.ndarray | None = None) -> pd.Categorical:
    """Texts one part after another as categories, in the order of places of shape (n,) if given."""
    said = np.array([text for part in parts for text in part.said], dtype=object)
    place, texts = pd.factorize(said)  # None is numbered -1, which is a blank among categories
    place = place.astype(np.int32)
    starts = np.cumsum([0, *(len(part.said) for part in parts)])
    shifted = [
        place[start:end][part.numbers]
        for part, start, end in zip(parts, starts[:-1], starts[1:], strict=True)
    ]
    numbers = np.concatenate(shifted)
    numbers = numbers if order is None else numbers[order]
    return pd.Categorical.from_codes(numbers, categories=pd.Index(texts, dtype="str"))


def category_of(texts: pd.Series, row: np.ndarray) -> pd.Categorical:
    """Texts of shape (n,) at the places ``row`` of shape (m,) as categories."""
    numbers, said = pd.factorize(texts)
    return pd.Categorical.from_codes(numbers.astype(np.int32)[row], categories=said)


def check_coded(schema: FrameSchema, frame: pd.DataFrame) -> pd.DataFrame:
    """As the schema's own check, of a frame whose texts stand as categories: they stay so.

    Raises
    ------
    FrameError
        As by its own check, or a column of texts holds no categories.
    """
    if not len(frame):
        return schema.empty()
    others = tuple(column for column in schema.columns if column.kind != "text")
    plain = FrameSchema(schema.name, schema.grain, others).check(frame)
    texts = {
        column.name: _checked_texts(schema, column, frame)
        for column in schema.columns
        if column.kind == "text"
    }
    return plain.assign(**texts)[schema.names]


def _checked_texts(schema: FrameSchema, column: Column, frame: pd.DataFrame) -> pd.Series:
    where = f"{schema.name}.{column.name}"
    if column.name not in frame:
        raise FrameError(f"{schema.name}: no column {column.name}")
    texts = frame[column.name]
    if not isinstance(texts.dtype, pd.CategoricalDtype) or texts.cat.categories.dtype != "str":
        raise FrameError(f"{where}: {texts.dtype} where texts as categories are expected")
    blank = texts.isna().to_numpy()
    if blank.any() and not column.blank:
        row = frame.index[blank.argmax()]
        raise FrameError(f"{where}: blank at row {row}, a value is required")
    return texts
