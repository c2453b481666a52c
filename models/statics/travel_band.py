"""What a sound sensor's roughness over the travel looks like: one limit for the whole profile.

A limit set cell by cell would flag every twentieth cell of a sound sensor. Here one number a
sensor is used, the greatest departure of its profile anywhere on the travel, and a tolerance
limit of that number gives a limit that holds over all cells at once (simultaneous).

The departure of a sensor is taken from the mean and spread of the *others* (leave one out), since
that is how a new sensor will meet them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from models.statics.bands import groups_for
from models.statics.schemas import PROFILE_BINS, PROFILED_SENSORS, TRAVEL_BANDS
from models.statics.tolerance import one_sided_factor, sample_size_needed, trimmed_gaps

# Roughness is positive and skewed: departures are taken of its logarithm. Below this a logger's
# own steps show rather than the track (assumed).
FLOOR_PCT = 0.01


@dataclass(frozen=True)
class GoodProfiles:
    """Output smoothness over the travel of n sensors later shown good, one profile each.

    ``sensors`` is PROFILED_SENSORS, one row a sensor, ``bins`` PROFILE_BINS of c cells;
    ``smoothness_pct``, shape (n, c), is in % of applied and not a number where a cell is blank. All
    are of the same channel.
    """

    sensors: pd.DataFrame
    bins: pd.DataFrame
    smoothness_pct: np.ndarray

    def of(self, sensors: pd.DataFrame) -> tuple[pd.DataFrame, np.ndarray]:
        """The cells that some of these rows of ``sensors`` cover, and their smoothness there."""
        places = sensors.sort_values("sensor_id").index.to_numpy()
        values = self.smoothness_pct[places]
        covered = np.isfinite(values).any(axis=0)
        # sums over sensors hang on how rows lie, to the last digit: here one after another
        return self.bins[covered].reset_index(drop=True), np.ascontiguousarray(values[:, covered])


def learn_travel_bands(
    profiles: GoodProfiles,
    *,
    coverage: float = 0.95,
    confidence: float = 0.95,
    min_sensors: int = 5,
    families: Mapping[str, str] | None = None,
    kinds: Mapping[str, str] | None = None,
) -> pd.DataFrame:
    """Learn the upper limit of output smoothness over the travel, part number by part number.

    Parameters
    ----------
    profiles : GoodProfiles
        One profile a sensor; those without any cell are passed over.
    coverage, confidence : float
        Share of good sensors whose whole profile lies below the limit, and how sure of that.
    min_sensors : int
        Fewest sensors for a limit; below it, and in cells fewer have covered, it stays blank.
    families, kinds : mapping of part number to family or kind, optional
        Where a part number has too few sensors, its family's are used, then its kind's.

    Returns
    -------
    DataFrame
        TRAVEL_BANDS, one row a part number and cell.
    """
    sensors = PROFILED_SENSORS.check(profiles.sensors).reset_index(drop=True)
    PROFILE_BINS.check(profiles.bins)
    sensors = sensors[np.isfinite(profiles.smoothness_pct).any(axis=1)]
    rows = []
    for part_no, own in sensors.groupby("part_no", sort=True):
        enough, pooled = groups_for(sensors, own, min_sensors, families, kinds)
        band = _one_band(*profiles.of(enough), coverage, confidence, min_sensors)
        band["method"] += pooled
        rows.append(band.assign(part_no=part_no))
    if not rows:
        return TRAVEL_BANDS.empty()
    return TRAVEL_BANDS.check(pd.concat(rows, ignore_index=True))


def _one_band(
    bins: pd.DataFrame,
    smoothness_pct: np.ndarray,
    coverage: float,
    confidence: float,
    min_sensors: int,
) -> pd.DataFrame:
    values = np.log(np.maximum(smoothness_pct, FLOOR_PCT))
    n = len(values)
    # A cell that few have covered has no spread to speak of, and must not set the limit of all.
    thin = np.isfinite(values).sum(axis=0) < max(min_sensors, n / 2)
    values[:, thin] = np.nan
    band = bins.assign(
        typical_pct=np.exp(_over_sensors(np.nanmean, values, min_sensors)), high_pct=np.nan
    )
    needed = sample_size_needed(sides=1, coverage=coverage, confidence=confidence)
    method = f"no range: {n} good sensors known, at least {min_sensors} needed"
    if n >= min_sensors:
        limit, method = _limit(greatest_departures(values), coverage, confidence, needed)
        spread = _over_sensors(lambda v, **k: np.nanstd(v, ddof=1, **k), values, min_sensors)
        band["high_pct"] = band["typical_pct"] * np.exp(limit * spread)
    return band.assign(sensor_count=n, more_needed=max(0, needed - n), method=method)


def greatest_departures(values: np.ndarray) -> np.ndarray:
    """Each row's greatest departure, in spreads of the other rows; shape (n, cells) to (n,).

    Blank cells are passed over. At least three rows are needed in a cell for it to count.
    """
    known = np.isfinite(values)
    filled = np.where(known, values, 0.0)
    others = known.sum(axis=0) - known
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = (filled.sum(axis=0) - filled) / others
        square = ((filled**2).sum(axis=0) - filled**2) / others
        spread = np.sqrt(np.maximum(square - mean**2, 0) * others / (others - 1))
        departure = (values - mean) / spread
    usable = known & (others >= 2) & (spread > 1e-9)
    return np.where(usable, departure, -np.inf).max(axis=1)


def _limit(
    departures: np.ndarray, coverage: float, confidence: float, needed: int
) -> tuple[float, str]:
    departures = np.sort(departures[np.isfinite(departures)])
    n = len(departures)
    promise = f"{100 * coverage:g} in 100 good sensors over the whole travel, "
    promise += f"{100 * confidence:g} % confidence"
    gaps = trimmed_gaps(n, sides=1, coverage=coverage, confidence=confidence)
    if gaps:
        words = f"learned from {n} good sensors by rank, no curve assumed ({promise})"
        return float(departures[n - gaps]), words
    if n < 2:
        return np.nan, "no range: the spread between good sensors is not known"
    factor = one_sided_factor(n, coverage=coverage, confidence=confidence)
    words = f"learned from {n} good sensors, normal curve assumed ({promise}); "
    words += f"{needed - n} more needed for a range without that assumption"
    return float(departures.mean() + factor * departures.std(ddof=1)), words


def _over_sensors(figure, values: np.ndarray, min_sensors: int) -> np.ndarray:
    enough = np.isfinite(values).sum(axis=0) >= max(2, min_sensors)
    out = np.full(values.shape[1], np.nan)
    out[enough] = figure(values[:, enough], axis=0)
    return out
