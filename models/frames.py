"""Declared schemas for the frames that cross a layer.

A schema says which columns a frame holds, of what kind, in what unit and whether a blank may
stand there. Whoever hands a frame over passes it through :meth:`FrameSchema.check`, so that a
missing or misnamed column is named where it arises and not three layers on.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

_DTYPES = {
    "text": "str",
    "number": "float64",
    "whole": "Int64",
    "flag": "boolean",
    "date": "datetime64[us]",
    "moment": "datetime64[us, UTC]",
}


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

    def empty(self) -> pd.DataFrame:
        """A frame with every column and no row."""
        return pd.DataFrame({c.name: pd.Series(dtype=_DTYPES[c.kind]) for c in self.columns})

    def check(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Return the declared columns, in order and of the declared kinds.

        Raises
        ------
        FrameError
            A column is missing, cannot be read as its kind, or holds a blank it may not hold.
        """
        missing = [name for name in self.names if name not in frame.columns]
        if missing:
            raise FrameError(f"{self.name}: no column {', '.join(missing)}")
        if all(frame.dtypes[c.name] == _DTYPES[c.kind] for c in self.columns):
            for column in self.columns:
                self._refuse_blanks(frame[column.name], column)
            return frame[self.names]
        return pd.DataFrame({c.name: self._column(frame[c.name], c) for c in self.columns})

    def _column(self, values: pd.Series, column: Column) -> pd.Series:
        try:
            typed = _as_kind(values, column.kind)
        except (TypeError, ValueError) as error:
            raise FrameError(
                f"{self.name}.{column.name}: not readable as {column.kind}: {error}"
            ) from error
        self._refuse_blanks(typed, column)
        return typed

    def _refuse_blanks(self, typed: pd.Series, column: Column) -> None:
        if not column.blank and typed.hasnans:
            row = typed.index[typed.isna()][0]
            raise FrameError(f"{self.name}.{column.name}: blank at row {row}, a value is required")


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
