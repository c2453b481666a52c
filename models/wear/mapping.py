"""Map the wear of all sensors: the public door of this package."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from models.wear.bands import SHOWN_FROM, WornBands
from models.wear.concentration import Concentration, concentration
from models.wear.exposure import BIN_PCT, BINS
from models.wear.groups import text
from models.wear.progress import BandProgress
from models.wear.records import WearError, WearRecords
from models.wear.schemas import WEAR_MAP
from models.wear.sensor import SensorIntensity
from models.wear.surface import WearSurface

ALL = "all"
AGE_CELLS = 10  # cells of the map between 0 and the oldest age seen
LEAST_PASSES = 3.0  # passes (as exposure) without which a cell stays blank (assumed)
LEAST_SENSORS = 3  # and sensors (assumed)


@dataclass(frozen=True)
class WearResults:
    """What the map says.

    wear_map, bands, progress : frames of ``WEAR_MAP``, ``BANDS`` and ``PROGRESS``.
    gathered : for (part_no, duty), "all" for any, whether wear is concentrated.
    dropouts, roughness : the fitted surfaces, roughness None where none was measured.
    worn : the fitted band model. sensors : what each sensor is expected to show at a later age.
    stray_rate : drop-outs a pass and bin that are no wear.
    """

    wear_map: pd.DataFrame
    bands: pd.DataFrame
    progress: pd.DataFrame
    gathered: dict[tuple[str, str], Concentration]
    dropouts: WearSurface
    roughness: WearSurface | None
    worn: WornBands
    sensors: SensorIntensity
    stray_rate: float


def map_wear(records: WearRecords, failures: pd.DataFrame, seed: int = 0) -> WearResults:
    """Fit all of it.

    Parameters
    ----------
    records : WearRecords
        As of ``wear_records``.
    failures : frame of ``FAILURES``
        Lives whose end is known to have been a failure; may be empty.
    seed : int
        Of the draws for limits and random shifts.

    Raises
    ------
    WearError
        There is no test that could have shown anything.
    """
    if not len(records):
        raise WearError("no bench test with a measured sweep to map")
    tests = records.tests
    dropouts = WearSurface("poisson").fit(tests, records.counts, records.exposure)
    rough = None
    if np.isfinite(records.roughness).any():
        rough = WearSurface("gamma").fit(tests, records.roughness)
    pooled, strays = dropouts.predict_wear(tests), dropouts.strays_.rate
    worn = WornBands().fit(records, pooled, strays)
    bands = worn.predict(records, pooled)
    progress = BandProgress(worn, seed).fit(records, failures, pooled=pooled, found=bands)
    return WearResults(
        wear_map=wear_map(records, dropouts, rough),
        bands=bands,
        progress=progress.predict(records, pooled, bands),
        gathered=gathered(records, worn, seed),
        dropouts=dropouts,
        roughness=rough,
        worn=worn,
        sensors=SensorIntensity(worn).fit(records, pooled),
        stray_rate=strays,
    )


def wear_map(
    records: WearRecords, dropouts: WearSurface, roughness: WearSurface | None, level: float = 0.90
) -> pd.DataFrame:
    """Travel by age for all together, each part, each duty and each pair: frame of ``WEAR_MAP``.

    A cell in which too few sensors or passes could have shown anything has counts but no
    intensity, and none of roughness. Where several parts or duties stand together, the cell is
    their mean by the tests made in it, and its limits are means of theirs (somewhat too wide).
    """
    edges = np.linspace(0.0, max(float(records.tests["sensor_age_km"].max()), 1.0), AGE_CELLS + 1)
    age = records.tests["sensor_age_km"].to_numpy()
    cell = np.clip(np.searchsorted(edges, age, side="right") - 1, 0, AGE_CELLS - 1)
    surfaces = [_surface(s, records.tests, cell, edges, level) for s in (dropouts, roughness)]
    frames = []
    for part_no, duty, own in _selections(records.tests):
        for k in np.unique(cell[own]):
            rows = np.flatnonzero(own & (cell == k))
            frames.append(_cell(records, rows, part_no, duty, edges[k : k + 2], surfaces))
    return WEAR_MAP.check(pd.concat(frames, ignore_index=True))


def gathered(
    records: WearRecords, worn: WornBands, seed: int = 0
) -> dict[tuple[str, str], Concentration]:
    """Flat or concentrated, for all together, each part, each duty and each pair.

    Each life with a likely band counts once, where its own drop-outs and roughness put it; a life
    whose drop-outs alone are looked at would need to be further gone.
    """
    rows, share = worn.sights(records)
    lives, even = records.take(rows).tests, np.ones_like(share)
    return {
        (part_no, duty): concentration(
            rows[own], share[own], even[own], seed=seed, least=SHOWN_FROM
        )
        for part_no, duty, own in _selections(lives, records.tests)
    }


def _selections(
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


def _surface(
    surface: WearSurface | None,
    tests: pd.DataFrame,
    cell: np.ndarray,
    edges: np.ndarray,
    level: float,
) -> tuple[np.ndarray, np.ndarray]:
    """For each test: the row of its part, duty and cell; and for each row low, middle, high."""
    duty = tests["duty"].astype("object").where(tests["duty"].notna(), None)
    keys = pd.DataFrame({"part_no": tests["part_no"].to_numpy(), "duty": duty.to_numpy()})
    keys["sensor_age_km"] = ((edges[1:] + edges[:-1]) / 2)[cell]
    row = keys.fillna({"duty": ""}).groupby(list(keys.columns), sort=False).ngroup().to_numpy()
    first = np.unique(row, return_index=True)[1]
    if surface is None:
        return row, np.full((3, len(first), BINS), np.nan)
    low, high = surface.predict_interval(keys.iloc[first], level)
    return row, np.stack([low, surface.predict(keys.iloc[first]), high])


def _cell(
    records: WearRecords,
    rows: np.ndarray,
    part_no: str,
    duty: str,
    age: np.ndarray,
    surfaces: list[tuple[np.ndarray, np.ndarray]],
) -> pd.DataFrame:
    sensor = pd.factorize(records.tests["sensor_id"].iloc[rows])[0]
    reach = records.exposure[rows].astype(float)
    by_sensor = np.zeros((sensor.max() + 1, BINS))
    np.add.at(by_sensor, sensor, reach)
    seen = (by_sensor > 0).sum(axis=0)
    out = {
        "part_no": part_no,
        "duty": duty,
        "age_from_km": age[0],
        "age_to_km": age[1],
        "bin_from_pct": np.arange(BINS) * BIN_PCT,
        "n_sensors": seen,
        "n_tests": (reach > 0).sum(axis=0),
        "exposure": reach.sum(axis=0),
        "dropout_count": records.counts[rows].sum(axis=0).astype(int),
    }
    blank = (seen < LEAST_SENSORS) | (out["exposure"] < LEAST_PASSES)
    judged = np.zeros((sensor.max() + 1, BINS), dtype=bool)
    np.logical_or.at(judged, sensor, np.isfinite(records.roughness[rows]))
    known = judged.sum(axis=0) >= LEAST_SENSORS
    for name, (row, values), hide in zip(
        ("intensity", "roughness"), surfaces, (blank, ~known), strict=True
    ):
        mean = values[:, row[rows]].mean(axis=1)
        for suffix, curve in zip(("_low", "", "_high"), mean, strict=True):
            out[name + suffix] = np.where(hide, np.nan, curve)
    return pd.DataFrame(out)
