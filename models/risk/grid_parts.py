"""Spans of km cut by the cells of a grid, as a sparse matrix: a row a span, a column a pair.

A *pair* is a cell of age with a group, that is a set of covariates. Of many lives there are far
more parts than anything else, so that one takes few bytes: a column number of four, its km, as
many where its season is known, in single precision, and its km as they count by that season.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

import numpy as np
from scipy import sparse

from models.risk.lives import overlap

#: Spans that are cut at a time, for the memory.
_SPANS_AT_ONCE = 100_000

#: Scaled season of parts, by row of records, age at which a part begins and km of it.
Season = Callable[[np.ndarray, np.ndarray, np.ndarray], np.ndarray]


class Spans(NamedTuple):
    """Spans ``(low, high]`` of age, km, each of a row of records."""

    row: np.ndarray
    low: np.ndarray
    high: np.ndarray


class Parts:
    """Parts of spans of km, in order of span and age.

    Parameters
    ----------
    km : csr_array of shape (spans, pairs)
        Km of each part.
    season : array of shape (parts,)
        Scaled season of each, in single precision; empty where it is not known.

    Attributes
    ----------
    km : csr_array of shape (spans, pairs)
        Km as they count: a km of season s as exp(b x s) of them (``count_season``).
    pair : array of int, shape (parts,)
    season : array of shape (parts,)
    """

    def __init__(self, km: sparse.csr_array, season: np.ndarray):
        self.km, self.season, self._plain_km = km, season, km.data

    @property
    def pair(self) -> np.ndarray:
        """Pair of each part."""
        return self.km.indices

    def count_season(self, coef: float) -> None:
        """Let each km count as its season has it."""
        counted = self.season * np.float64(coef)  # a plain float would leave it in single precision
        np.exp(counted, out=counted)
        counted *= self._plain_km
        self.km = self.of(counted)

    def by_season(self, power: int = 1) -> Iterator[tuple[slice, sparse.csr_array]]:
        """Some spans at a time, and their km times a power of their season, (some spans, pairs)."""
        for first in range(0, self.km.shape[0], _SPANS_AT_ONCE):
            begins = self.km.indptr[first : first + _SPANS_AT_ONCE + 1]
            some, spans = slice(begins[0], begins[-1]), len(begins) - 1
            values = self.km.data[some] * self.season[some] ** power
            table = (values, self.km.indices[some], begins - begins[0])
            shape = (spans, self.km.shape[1])
            yield slice(first, first + spans), sparse.csr_array(table, shape=shape)

    def of(self, values: np.ndarray) -> sparse.csr_array:
        """Values of the parts, shape (parts,), as a matrix of spans by pairs."""
        return sparse.csr_array((values, self.km.indices, self.km.indptr), shape=self.km.shape)

    def between(self, first: int, last: int) -> tuple[slice, np.ndarray]:
        """Where the parts of some spans stand, and the place of each part's span among these."""
        bounds = self.km.indptr[first : last + 1]
        return slice(bounds[0], bounds[-1]), np.repeat(np.arange(last - first), np.diff(bounds))


class Grid(NamedTuple):
    """Several lots of spans cut by one grid; cell and group of each pair, shape (pairs,)."""

    parts: list[Parts]
    pair_cell: np.ndarray
    pair_group: np.ndarray


def cut_by_grid(
    lots: Sequence[Spans], group: np.ndarray, edges: np.ndarray, season: Season | None = None
) -> Grid:
    """Cut lots of spans by one grid; pairs are numbered in order of group and cell, none empty.

    Parameters
    ----------
    lots : sequence of Spans
        The spans.
    group : array of int, shape (rows,)
        Number of each row's set of covariates.
    edges : array of shape (cells + 1,)
        Edges of the cells, km, covering all spans.
    season : callable, optional
        Scaled season of parts.

    Returns
    -------
    Grid, with the parts of each lot.
    """
    cells = len(edges) - 1
    cut = [_cut(spans, group, edges, season) for spans in lots]
    there = np.zeros((int(group.max(initial=-1)) + 1) * cells, dtype=bool)
    for pair, *_ in cut:
        there[pair] = True
    number = np.flatnonzero(there)
    place = (np.cumsum(there) - 1).astype(np.int32)
    parts = []
    for pair, km, begins, seasons in cut:
        # in place; no number is out of range, and any other mode would work in a copy
        np.take(place, pair, out=pair, mode="clip")
        shape = (len(begins) - 1, len(number))
        parts.append(Parts(sparse.csr_array((km, pair, begins), shape=shape), seasons))
    pair_group, pair_cell = np.divmod(number, cells)
    return Grid(parts, pair_cell, pair_group)


def _cut(
    spans: Spans, group: np.ndarray, edges: np.ndarray, season: Season | None
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Pair (group * cells + cell), km, where each span's parts begin, and season of the parts."""
    found = []
    for first in range(0, max(len(spans.row), 1), _SPANS_AT_ONCE):
        row, low, high = (each[first : first + _SPANS_AT_ONCE] for each in spans)
        part = overlap(low, high, edges)
        pair = (group[row[part.row]] * (len(edges) - 1) + part.cell).astype(np.int32)
        begins = np.maximum(low[part.row], edges[part.cell])
        seasons = np.zeros(0) if season is None else season(row[part.row], begins, part.km)
        seasons = seasons.astype(np.float32)
        found.append((pair, part.km, np.bincount(part.row, minlength=len(row)), seasons))
    pieces = [list(each) for each in zip(*found, strict=True)][::-1]
    del found  # each field's pieces go as soon as they are joined
    pair, km, count, seasons = (np.concatenate(pieces.pop()) for _ in range(4))
    # scipy takes the wider of both kinds of indices, so these must not be wider than the pairs
    begins = np.append(0, np.cumsum(count)).astype(np.int32)
    return pair, km, begins, seasons
