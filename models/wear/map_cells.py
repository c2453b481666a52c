"""The map's cells of travel and age: what a fit says of them, and what the tests in them showed.

What is said of a cell takes the fit's large covariances, so it is worked out once with the fit, for
each part and duty that stand together; what was seen there is counted anew.
"""

from __future__ import annotations

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
    pairs = pd.DataFrame({"part_no": text(tests["part_no"]), "duty": text(tests["duty"])})
    pairs = pairs.drop_duplicates().sort_values(_PAIR).reset_index(drop=True)
    return pairs.assign(duty=pairs["duty"].where(pairs["duty"] != "", None))


def wear_map(records: WearRecords, curves: pd.DataFrame) -> pd.DataFrame:
    """Travel by age for all together, each part, each duty and each pair: frame of ``WEAR_MAP``.

    A cell in which too few sensors or passes could have shown anything has counts but no
    intensity, and none of roughness. Where several parts or duties stand together, the cell is
    their mean by the tests made in it, and its limits are means of theirs (somewhat too wide). A
    test older than any at the fit counts in the last cell; a part and duty that have come together
    since leave blank what holds their tests.
    """
    pair, edges, values = _laid_out(records.tests, curves)
    age = records.tests["sensor_age_km"].to_numpy()
    cell = np.clip(np.searchsorted(edges, age, side="right") - 1, 0, AGE_CELLS - 1)
    sensor = pd.factorize(records.tests["sensor_id"])[0]
    names, cells = [], []
    for part_no, duty, own in selections(records.tests):
        for k in np.unique(cell[own]):
            rows = np.flatnonzero(own & (cell == k))
            names.append((part_no, duty, edges[k], edges[k + 1]))
            cells.append(_cell(records, rows, sensor[rows], _mean(values[:, k], pair[rows])))
    out = pd.DataFrame(names, columns=[*_PAIR, "age_from_km", "age_to_km"])
    out = out.loc[out.index.repeat(BINS)].reset_index(drop=True)
    out["bin_from_pct"] = np.tile(np.arange(BINS) * BIN_PCT, len(cells))
    seen = {name: np.concatenate([own[name] for own in cells]) for name in cells[0]}
    return WEAR_MAP.check(out.assign(**seen))


def selections(
    tests: pd.DataFrame, named_in: pd.DataFrame | None = None
) -> list[tuple[str, str, np.ndarray]]:
    """All, each part, each duty, each pair (as in ``named_in``): which of ``tests`` they hold."""
    named = tests if named_in is None else named_in
    part, duty = tests["part_no"].to_numpy(), text(tests["duty"])
    parts, duties = sorted(set(named["part_no"])), sorted(set(text(named["duty"])) - {""})
    out = [(ALL, ALL, np.ones(len(tests), dtype=bool))]
    out += [(p, ALL, part == p) for p in parts]
    out += [(ALL, d, duty == d) for d in duties]
    pairs = [(p, d, (part == p) & (duty == d)) for p in parts for d in duties]
    return out + [pair for pair in pairs if pair[2].any()]


def _laid_out(
    tests: pd.DataFrame, curves: pd.DataFrame
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Each test's pair (-1: none), edges of the age cells, curves of (pair, cell, curve, bin)."""
    first = curves.iloc[:: AGE_CELLS * BINS]
    known = pd.MultiIndex.from_arrays([text(first[name]) for name in _PAIR])
    pair = known.get_indexer(pd.MultiIndex.from_arrays([text(tests[name]) for name in _PAIR]))
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


def _cell(
    records: WearRecords, rows: np.ndarray, sensor: np.ndarray, said: np.ndarray
) -> dict[str, np.ndarray]:
    """What the tests ``rows`` of the sensors ``sensor`` showed by bin, and what is said of it."""
    reach = records.exposure[rows].astype(float)
    seen = _sensors_with(reach > 0, sensor)
    out = {
        "n_sensors": seen,
        "n_tests": (reach > 0).sum(axis=0),
        "exposure": reach.sum(axis=0),
        "dropout_count": records.counts[rows].sum(axis=0).astype(int),
    }
    blank = (seen < LEAST_SENSORS) | (out["exposure"] < LEAST_PASSES)
    known = _sensors_with(np.isfinite(records.roughness[rows]), sensor) >= LEAST_SENSORS
    for name, curve in zip(CURVES, said, strict=True):
        hide = blank if name.startswith("intensity") else ~known
        out[name] = np.where(hide, np.nan, curve)
    return out


def _sensors_with(found: np.ndarray, sensor: np.ndarray) -> np.ndarray:
    """Sensors of which any row was found, bin by bin."""
    order = np.argsort(sensor, kind="stable")
    starts = np.flatnonzero(np.diff(sensor[order], prepend=-1))
    return np.logical_or.reduceat(found[order], starts, axis=0).sum(axis=0)
