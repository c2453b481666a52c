"""Charts as they are sent, drawn once for the same rows.

Building a chart and checking it against its grammar takes longer than all else on many pages, and
the rows behind it change with the records alone.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from dataclasses import dataclass, fields, is_dataclass
from datetime import date
from functools import partial
from hashlib import blake2b
from typing import Any

import altair as alt
import numpy as np
import pandas as pd
from altair.utils.schemapi import debug_mode

from dashboard.shown_as import shown_as
from pipeline.lately import Lately

#: Charts kept, those drawn last.
MOST, MOST_BYTES = 200, 64 * 2**20
_DRAWING = threading.Lock()


@dataclass(frozen=True)
class Drawn:
    """A chart's grammar as JSON, and the rows it names; ``title`` and ``under`` stand outside."""

    grammar: str
    rows: dict[str, pd.DataFrame]
    title: str
    under: tuple[str, ...]

    @property
    def spec(self) -> dict[str, Any]:
        """What a page shows, a copy of its own each time."""
        return json.loads(self.grammar) | {"datasets": dict(self.rows)}


_KEPT: Lately[Drawn] = Lately(MOST, MOST_BYTES)


class _NoDigestError(TypeError):
    """A value that cannot be told from another by its contents."""


def drawn(draw: Callable[..., alt.LayerChart], ink: str) -> Drawn:
    """The chart of ``draw(ink=ink)``, from before where its arguments hold the same.

    Its axes and words hang on how values are shown to this reader too.

    Only a ``functools.partial`` of a chart's function tells what it was given; anything else is
    drawn each time.
    """
    try:
        key = _digest(draw, ink)
    except _NoDigestError:
        return _draw(draw, ink)
    return _KEPT.of(key, lambda: _draw(draw, ink))


def _draw(draw: Callable[..., alt.LayerChart], ink: str) -> Drawn:
    rows: dict[str, pd.DataFrame] = {}

    def by_name(data: pd.DataFrame) -> dict[str, str]:
        name = _Contents().add(data).name
        rows[name] = data
        return {"name": name}

    # which way data go, and whether each part is held to the grammar, are one setting for all
    # threads; tests hold every chart to the grammar
    with _DRAWING, debug_mode(False), alt.theme.enable("none"):
        alt.data_transformers.register("by_name", by_name)
        with alt.data_transformers.enable("by_name"):
            chart = draw(ink=ink)
            words, under = _title_off(chart)
            grammar = chart.to_dict(validate=False)
    return Drawn(json.dumps(grammar), rows, words, under)


def _title_off(chart: alt.LayerChart) -> tuple[str, tuple[str, ...]]:
    """Take the title off a chart: its words, and the lines under it."""
    title, chart.title = chart.title, alt.Undefined
    if not isinstance(title, alt.TitleParams):
        return "", ()
    lines = title.subtitle if isinstance(title.subtitle, list) else [title.subtitle]
    return title.text, tuple(str(line) for line in lines if line is not alt.Undefined)


def _digest(draw: Callable[..., alt.LayerChart], ink: str) -> str:
    if not isinstance(draw, partial):
        raise _NoDigestError
    contents = _Contents().add(f"{draw.func.__module__}.{draw.func.__qualname__}", ink)
    contents.add(shown_as())
    return contents.add(list(draw.args), draw.keywords).name


class _Contents:
    """A name for values, the same for the same contents."""

    def __init__(self) -> None:
        self._hash = blake2b(digest_size=16)

    @property
    def name(self) -> str:
        return self._hash.hexdigest()

    def add(self, *values: object) -> _Contents:
        for value in values:
            self._add(value)
        return self

    def _add(self, value: object) -> None:
        self._hash.update(type(value).__name__.encode() + b":")
        if isinstance(value, pd.DataFrame):
            self._add({name: value[name] for name in value.columns})
        elif isinstance(value, pd.Series):
            self._add(str(value.dtype))
            self._hash.update(_hashes(value))
        elif isinstance(value, np.ndarray):
            self._add(pd.Series(value))
        elif isinstance(value, dict):
            self.add(len(value), *(part for pair in value.items() for part in pair))
        elif isinstance(value, list | tuple):
            self.add(len(value), *value)
        elif is_dataclass(value) and not isinstance(value, type):
            self.add(*(getattr(value, field.name) for field in fields(value)))
        elif value is None or isinstance(value, str | int | float | date | np.generic):
            self._hash.update(repr(value).encode(errors="surrogatepass") + b";")
        else:
            raise _NoDigestError(type(value).__name__)


def _hashes(values: pd.Series) -> bytes:
    try:
        return pd.util.hash_pandas_object(values, index=True).to_numpy().tobytes()
    except TypeError as error:  # lists in cells
        raise _NoDigestError from error
