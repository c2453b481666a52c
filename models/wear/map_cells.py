"""The map's cells of travel and age: what a fit says of them, and what the tests in them showed.

What is said of a cell takes the fit's large covariances, so it is worked out once with the fit, for
each part and duty that stand together; what was seen there is counted anew.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

import numpy as np
import pandas as pd

from models.wear.exposure import BIN_PCT, BINS
from models.wear.groups import text
from models.wear.records import WearRecords
from models.wear.schemas import CURVES, MAP_CURVES, WEAR_MAP
from models.wear.surface import WearSurface

ALL = "all"
AGE_CELLS = 10  # cells of the map between 0 and the oldest age seen at the fit
LEAST_PASSES = 3.0  # passes (as exposure) without which a cell stays blank (assumed)
LEAST_SENSORS = 3  # and sensors (assumed)
LEVEL = 0.90
_PAIR = ["part_no", "duty"]
_BITS = 64


def map_curves(
    tests: pd.DataFrame, dropouts: WearSurface, roughness: WearSurface | None
) -> pd.DataFrame:
    """What the surfaces say of every cell of each part and duty in ``tests``: ``MAP_CURVES``."""
    pairs = pairs_of(tests)
    edges = np.linspace(0.0, max(float(tests["sensor_age_km"].max()), 1.0), AGE_CELLS + 1)
    keys = pairs.loc[pairs.index.repeat(AGE_CELLS)].reset_index(drop=True)
    keys["sensor_age_km"] = np.tile((edges[1:] + edges[:-1]) / 2, len(pairs))
    out = keys[_PAIR].assign(
        age_from_km=np.tile(edges[:-1], len(pairs)), age_to_km=np.tile(edges[1:], len(pairs))
    )
    out = out.loc[out.index.repeat(BINS)].reset_index(drop=True)
    out["bin_from_pct"] = np.tile(np.arange(BINS) * BIN_PCT, len(keys))
    for kind, surface in (("intensity", dropouts), ("roughness", roughness)):
        low = middle = high = np.full((len(keys), BINS), np.nan)
        if surface is not None:
            (low, high), middle = surface.predict_interval(keys, LEVEL), surface.predict(keys)
        for limit, curve in zip(("_low", "", "_high"), (low, middle, high), strict=True):
            out[kind + limit] = curve.ravel()
    return MAP_CURVES.check(out)


def pairs_of(tests: pd.DataFrame) -> pd.DataFrame:
    """Each part and duty (blank where not known) that stand together, in order."""
    few = tests[_PAIR].drop_duplicates()
    pairs = pd.DataFrame({"part_no": text(few["part_no"]), "duty": text(few["duty"])})
    pairs = pairs.drop_duplicates().sort_values(_PAIR).reset_index(drop=True)
    return pairs.assign(duty=pairs["duty"].where(pairs["duty"] != "", None))


class WearMap:
    """Travel by age for all together, each part, each duty and each pair, counted by and by.

    A cell in which too few sensors or passes could have shown anything has counts but no
    intensity, and none of roughness. Where several parts or duties stand together, the cell is
    their mean by the tests made in it, and its limits are means of theirs (somewhat too wide). A
    test older than any at the fit counts in the last cell; a part and duty that have come together
    since leave blank what holds their tests.

    Of each test only in which bins it could have shown something is held, a bit a bin.

    Parameters
    ----------
    tests : frame of ``WEAR_TESTS``
        All tests to be mapped.
    curves : frame of ``MAP_CURVES``
        What the fit says.
    """

    def __init__(self, tests: pd.DataFrame, curves: pd.DataFrame):
        self._pair, self._edges, self._values = _laid_out(tests, curves)
        age = tests["sensor_age_km"].to_numpy()
        cell = np.searchsorted(self._edges, age, side="right") - 1
        self._cell = np.clip(cell, 0, AGE_CELLS - 1).astype(np.int8)
        self._sensor = pd.factorize(tests["sensor_id"])[0].astype(np.int32)
        self._selections = _Selections(tests, tests)
        self._seen, self._known = (np.zeros(len(tests), np.uint64) for _ in range(2))
        shape = (len(self._selections.names), AGE_CELLS, BINS)
        self._exposure, self._dropouts = np.zeros(shape), np.zeros(shape)
        self._counted = 0

    @property
    def exposure(self) -> np.ndarray:
        """Passes that would have shown a drop-out, of all tests counted so far, shape (BINS,)."""
        return self._exposure[0].sum(axis=0)

    @property
    def dropout_count(self) -> int:
        """Drop-outs of all tests counted so far."""
        return int(self._dropouts[0].sum())

    def count(self, records: WearRecords) -> None:
        """Count the next tests, in the order in which they stand among all."""
        begin, end = self._counted, self._counted + len(records)
        self._seen[begin:end] = _as_bits(records.exposure > 0)
        self._known[begin:end] = _as_bits(np.isfinite(records.roughness))
        for number in range(len(self._selections.names)):
            own = self._selections.own(number, slice(begin, end))
            for k, rows in _by_cell(self._cell[begin:end], own):
                reach = records.exposure[rows].astype(float)
                # one after another, whatever part they come in: the sum's last digit hangs on it
                before = self._exposure[number, k]
                self._exposure[number, k] = np.vstack([before, reach]).sum(axis=0)
                self._dropouts[number, k] += records.counts[rows].sum(axis=0)
        self._counted = end

    def frame(self) -> pd.DataFrame:
        """Frame of ``WEAR_MAP``, once all tests are counted."""
        names, cells = [], []
        for number, name in enumerate(self._selections.names):
            for k, rows in _by_cell(self._cell, self._selections.own(number)):
                names.append((*name, self._edges[k], self._edges[k + 1]))
                cells.append(self._told(number, k, rows))
        out = pd.DataFrame(names, columns=[*_PAIR, "age_from_km", "age_to_km"])
        out = out.loc[out.index.repeat(BINS)].reset_index(drop=True)
        out["bin_from_pct"] = np.tile(np.arange(BINS) * BIN_PCT, len(cells))
        seen = {name: np.concatenate([own[name] for own in cells]) for name in cells[0]}
        return WEAR_MAP.check(out.assign(**seen))

    def _told(self, number: int, k: int, rows: np.ndarray) -> dict[str, np.ndarray]:
        """What the tests ``rows`` of a cell showed by bin, and what is said of it."""
        sensor = self._sensor[rows]
        seen = _sensors_with(self._seen[rows], sensor)
        out = {
            "n_sensors": seen,
            "n_tests": _count_by_bin(self._seen[rows]),
            "exposure": self._exposure[number, k],
            "dropout_count": self._dropouts[number, k].astype(int),
        }
        blank = (seen < LEAST_SENSORS) | (out["exposure"] < LEAST_PASSES)
        known = _sensors_with(self._known[rows], sensor) >= LEAST_SENSORS
        said = _mean(self._values[:, k], self._pair[rows])
        for name, curve in zip(CURVES, said, strict=True):
            hide = blank if name.startswith("intensity") else ~known
            out[name] = np.where(hide, np.nan, curve)
        return out


def selections(
    tests: pd.DataFrame, named_in: pd.DataFrame
) -> Iterator[tuple[str, str, np.ndarray]]:
    """All, each part, each duty, each pair as in ``named_in``: which of ``tests`` they hold.

    Pairs that hold none are left out.
    """
    chosen = _Selections(tests, named_in)
    for number, (part_no, duty) in enumerate(chosen.names):
        own = chosen.own(number)
        if ALL in (part_no, duty) or own.any():
            yield part_no, duty, own


class _Selections:
    """All, each part, each duty, each pair of values in ``named_in``, ``names`` in that order."""

    def __init__(self, tests: pd.DataFrame, named_in: pd.DataFrame):
        pairs = pairs_of(named_in)
        parts, duties = sorted(set(pairs["part_no"])), sorted(set(pairs["duty"].dropna()))
        self._part, self._duty = (
            _numbered(tests["part_no"], parts),
            _numbered(tests["duty"], duties),
        )
        both = [ALL, *parts], [ALL, *duties]
        self.names = [(ALL, ALL), *((p, ALL) for p in parts), *((ALL, d) for d in duties)]
        self.names += product(parts, duties)
        self._places = [
            tuple(v.index(n) - 1 for v, n in zip(both, name, strict=True)) for name in self.names
        ]

    def own(self, number: int, rows: slice = slice(None)) -> np.ndarray:
        """Which of the tests ``rows`` a selection holds."""
        part, duty = self._places[number]
        held = np.ones(len(self._part[rows]), dtype=bool)
        if part >= 0:
            held &= self._part[rows] == part
        return held if duty < 0 else held & (self._duty[rows] == duty)


def _numbered(values: pd.Series, names: list[str]) -> np.ndarray:
    """Place of each value among some names; -1 where it is none of them or blank."""
    number, different = pd.factorize(values)
    place = pd.Index(names, dtype=object).get_indexer(pd.Index(different, dtype=object))
    return np.append(place, -1).astype(np.int16)[number]


def _by_cell(cell: np.ndarray, own: np.ndarray) -> list[tuple[int, np.ndarray]]:
    """Each cell in which any of the tests marked stands, and row numbers of these."""
    rows = np.flatnonzero(own)
    order = np.argsort(cell[rows], kind="stable")
    there, starts = np.unique(cell[rows][order], return_index=True)
    ends = [*starts[1:].tolist(), len(rows)]
    return [
        (k, rows[order[a:b]])
        for k, a, b in zip(there.tolist(), starts.tolist(), ends, strict=False)
    ]


def _laid_out(
    tests: pd.DataFrame, curves: pd.DataFrame
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Each test's pair (-1: none), edges of the age cells, curves of (pair, cell, curve, bin)."""
    first = curves.iloc[:: AGE_CELLS * BINS]
    names = [sorted(set(first[name].dropna())) for name in _PAIR]
    # a blank duty is a duty of its own, in the last column; one not heard of at the fit is none
    table = np.full([len(each) + 1 for each in names], -1)
    at = [_numbered(first[name], each) for name, each in zip(_PAIR, names, strict=True)]
    table[at[0], at[1]] = np.arange(len(first))
    part, duty = (_numbered(tests[name], each) for name, each in zip(_PAIR, names, strict=True))
    unheard = (duty < 0) & (tests["duty"].fillna("") != "").to_numpy(bool)
    pair = np.where((part < 0) | unheard, -1, table[part, duty])
    cells = curves.iloc[: AGE_CELLS * BINS : BINS]
    edges = np.append(cells["age_from_km"].to_numpy(), cells["age_to_km"].iloc[-1])
    values = curves[list(CURVES)].to_numpy().reshape(len(first), AGE_CELLS, BINS, len(CURVES))
    return pair, edges, values.transpose(0, 1, 3, 2)


def _mean(curves: np.ndarray, pair: np.ndarray) -> np.ndarray:
    """Mean over tests of their pairs' curves, shape (curves, BINS)."""
    if (pair < 0).any():
        return np.full(curves.shape[1:], np.nan)
    there, number = np.unique(pair, return_counts=True)
    return (curves[there] * (number / len(pair))[:, None, None]).sum(axis=0)


def _as_bits(found: np.ndarray) -> np.ndarray:
    """A bit a bin, from marks of shape (n, BINS)."""
    whole = np.zeros((len(found), _BITS), dtype=bool)
    whole[:, :BINS] = found
    return np.packbits(whole, axis=1).view(np.uint64).ravel()


def _count_by_bin(bits: np.ndarray) -> np.ndarray:
    """How many have each bin's bit, shape (BINS,)."""
    marks = np.unpackbits(bits.view(np.uint8).reshape(-1, _BITS // 8), axis=1, count=BINS)
    return marks.sum(axis=0, dtype=int)


def _sensors_with(bits: np.ndarray, sensor: np.ndarray) -> np.ndarray:
    """Sensors of which any test has a bin's bit, shape (BINS,)."""
    order = np.argsort(sensor, kind="stable")
    starts = np.flatnonzero(np.diff(sensor[order], prepend=-1))
    return _count_by_bin(np.bitwise_or.reduceat(bits[order], starts))
