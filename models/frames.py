"""Declared schemas for the frames that cross a layer.

A schema says which columns a frame holds, of what kind, in what unit and whether a blank may
stand there. Whoever hands a frame over passes it through :meth:`FrameSchema.check`, so that a
missing or misnamed column is named where it arises and not three layers on.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import pandas as pd

_DTYPES = {
    "text": "str",
    "number": "float64",
    "whole": "Int64",
    "flag": "boolean",
    "date": "datetime64[us]",
    "moment": "datetime64[us, UTC]",
}

#: The same made once: telling two kinds apart by their names takes longer than all else here.
_TYPED = {kind: pd.api.types.pandas_dtype(name) for kind, name in _DTYPES.items()}


class FrameError(ValueError):
    """A frame does not fit its declared schema; the message names the column."""


@dataclass(frozen=True)
class Column:
    """One column: its name, kind (a key of the kinds below), unit and meaning.

    Kinds: ``text``, ``number`` (float), ``whole`` (integer, may be blank), ``flag`` (yes, no or
    blank), ``date`` and ``moment`` (UTC). ``blank`` says whether a value may be missing.
    """

    name: str
    kind: str
    meaning: str
    unit: str = ""
    blank: bool = False


@dataclass(frozen=True)
class FrameSchema:
    """The columns of one frame and its grain (what one row stands for)."""

    name: str
    grain: str
    columns: tuple[Column, ...]

    @property
    def names(self) -> list[str]:
        """Column names in their declared order."""
        return [column.name for column in self.columns]

    @cached_property
    def _empty(self) -> pd.DataFrame:
        return pd.DataFrame({c.name: pd.Series(dtype=_DTYPES[c.kind]) for c in self.columns})

    def empty(self) -> pd.DataFrame:
        """A frame with every column and no row."""
        return self._empty.copy()

    def check(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Return the declared columns, in order and of the declared kinds.

        Raises
        ------
        FrameError
            A column is missing, cannot be read as its kind, or holds a blank it may not hold.
        """
        kept = self._declared(frame)
        if not len(kept):
            return self.empty()
        other = [c for c, t in zip(self.columns, kept.dtypes, strict=True) if t != _TYPED[c.kind]]
        if other:
            kept = kept.assign(**{c.name: self._column(kept[c.name], c) for c in other})
        self._refuse_blanks(kept)
        return kept

    def _declared(self, frame: pd.DataFrame) -> pd.DataFrame:
        names, there = self.names, list(frame.columns)
        if names == there:
            return frame.copy(deep=False)
        missing = [name for name in names if name not in set(there)]
        if missing:
            raise FrameError(f"{self.name}: no column {', '.join(missing)}")
        return frame[names]

    def _column(self, values: pd.Series, column: Column) -> pd.Series:
        try:
            return _as_kind(values, column.kind)
        except (TypeError, ValueError) as error:
            raise FrameError(
                f"{self.name}.{column.name}: not readable as {column.kind}: {error}"
            ) from error

    def _refuse_blanks(self, kept: pd.DataFrame) -> None:
        blank = kept.isna().to_numpy() & [not column.blank for column in self.columns]
        if blank.any():
            place, row = (int(places[0]) for places in blank.T.nonzero())
            name = self.columns[place].name
            raise FrameError(
                f"{self.name}.{name}: blank at row {kept.index[row]}, a value is required"
            )


def _as_kind(values: pd.Series, kind: str) -> pd.Series:
    if values.dtype == _DTYPES[kind]:
        return values
    if kind == "moment":
        return pd.to_datetime(values, utc=True).astype(_DTYPES[kind])
    if kind == "date":
        return pd.to_datetime(values).astype(_DTYPES[kind])
    if kind == "text":
        return values.astype("object").where(values.notna(), None).astype("str")
    return values.astype(_DTYPES[kind])
