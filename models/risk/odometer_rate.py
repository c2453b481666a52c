"""Km a day of each bike from its odometer readings, and the km it will have run by a date.

The mean km a day over a stretch of days is taken as

    log rate = bike's own level + drift + lumps,

the levels normal about the median of the bike's group (its fleet or duty) with variance ``level``;
the drift an Ornstein-Uhlenbeck process of variance ``drift`` whose correlation halves in each
half-life; the lumps, a ride today and none tomorrow, gamma of relative variance ``lumps`` / days.
The bike's readings are summed up in one rate, recent km weighing more by the same half-life, and
the km ahead follow from it by linear prediction (Rao, Linear Statistical Inference, 2nd ed. (1973),
4g), so that few, lumpy or old readings draw a bike to its group and widen the interval. The spreads
are fitted to all bikes together: level by the median deviation, drift and lumps by the squared
differences between a bike's own stretches (a variogram; Cressie, Statistics for Spatial Data
(1993), 2.4). Seasons are not told apart: in spring a summer rider's km come out too low, and the
interval is the wider for it. Sources from memory.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.optimize import nnls
from scipy.special import digamma, polygamma
from scipy.stats import norm

from models.frames import Column
from models.risk.odometer_stretches import BikeReadings, bike_readings, stretches_of
from models.risk.schemas import RecordSchema

#: Days in which a reading's weight halves, assumed: a season.
HALF_LIFE_DAYS = 180.0
#: Days without a reading from which the km run since are a guess (as in the advice), assumed.
STALE_AFTER_DAYS = 120.0
#: Stretch over which a rate is quoted, days.
QUOTED_DAYS = 90.0
#: Spreads before any bike's readings speak, assumed: lumps such that a month's km vary by half,
#: drift by a third over the years, bikes of a group by a factor of 1.8.
LUMPS_DAYS, DRIFT_VARIANCE, LEVEL_VARIANCE = 8.0, 0.1, 0.35
#: The assumed spreads count as so many differences, or bikes.
PRIOR_COUNT = 10.0
#: Km a day where no bike has two readings, assumed.
ASSUMED_KM_PER_DAY = 15.0
#: A group's median counts half at so many bikes, beside the median of all.
_GROUP_HALF = 3.0
#: A bike hardly ridden is set to this share of the median, since a rate of 0 has no logarithm.
_LEAST_SHARE = 0.02
_LAGS = (1, 2, 4)
_STRETCH = ("unit_id", "days", "km", "to_end")
#: Differences summed up at a time, whatever parts they came in.
_TERMS_AT_ONCE = 1 << 16

RIDING_RATES = RecordSchema(
    "riding_rates",
    "one bike with an odometer reading: its km a day from the as-of day on",
    (
        Column("unit_id", "text", "the bike"),
        Column("km_per_day", "number", "median of its mean over the next 90 days", "km/d"),
        Column("km_per_day_low", "number", "lower end, 90 %", "km/d"),
        Column("km_per_day_high", "number", "upper end, 90 %", "km/d"),
        Column("own_share", "number", "how far it rests on its own readings, 0 to 1, not others'"),
        Column("reading_count", "whole", "readings used"),
        Column("days_since_reading", "number", "days since the last reading", "d"),
        Column("km_since_reading", "number", "median of the km run since then", "km"),
        Column("km_since_reading_low", "number", "lower end, 90 %", "km"),
        Column("km_since_reading_high", "number", "upper end, 90 %", "km"),
        Column("odometer_stale", "flag", "not read for so long that km and dates are guesses"),
        Column("words", "text", "the same in a sentence"),
    ),
)


@dataclass(frozen=True)
class Spread:
    """Variances of log km a day; ``lumps`` for one day, to be divided by days."""

    lumps: float
    drift: float
    level: float
    half_life_days: float

    @property
    def decay(self) -> float:
        """Rate at which the drift is forgotten, per day."""
        return float(np.log(2) / self.half_life_days)


@dataclass(frozen=True)
class Riding:
    """What is known of each bike's riding; ``rates`` are in the columns of ``RIDING_RATES``.

    ``summed`` holds, by unit_id: ``log_rate`` of its weighted readings (blank with fewer than
    two), ``variance`` of it about the bike's level, ``recall`` (covariance with the drift on the
    day of the last reading, over the drift's variance), ``middle`` (log median of its group) and
    ``gap_days`` since the last reading.
    """

    rates: pd.DataFrame
    summed: pd.DataFrame
    spread: Spread


def riding_rates(
    readings: pd.DataFrame,
    as_of: dt.date,
    *,
    half_life_days: float = HALF_LIFE_DAYS,
    stale_after_days: float = STALE_AFTER_DAYS,
    level: float = 0.9,
) -> Riding:
    """Km a day of every bike with a reading, with its spread.

    Parameters
    ----------
    readings : frame of shape (readings, ...)
        Columns of ``ODOMETER_READINGS``, in any order; later ones than ``as_of`` are left out. Of
        several on one day the highest counts.
    as_of : date
        Day from which km are counted ahead.
    half_life_days : float
        Days in which a reading's weight halves.
    stale_after_days : float
        Days since the last reading above which a bike is flagged.
    level : float
        Chance that an interval is meant to hold.

    Raises
    ------
    FrameError
        The frame does not fit its schema.
    OdometerError
        A reading is lower than an earlier one of the bike.
    """
    how = {"half_life_days": half_life_days, "stale_after_days": stale_after_days, "level": level}
    return riding_of([bike_readings(readings)], as_of, **how)


def riding_of(
    parts: Iterable[BikeReadings],
    as_of: dt.date,
    *,
    half_life_days: float = HALF_LIFE_DAYS,
    stale_after_days: float = STALE_AFTER_DAYS,
    level: float = 0.9,
) -> Riding:
    """``riding_rates`` of bikes that come by and by, one part's readings in memory.

    Each bike is in one part. In which parts they come makes no difference to what comes out.
    """
    apart, seen = _Apart(), []
    for part in parts:
        read = part.until(as_of)
        stretches = stretches_of(read, half_life_days)
        apart.add(stretches, half_life_days)
        sums = _sums(stretches, np.log(2) / half_life_days, pd.RangeIndex(len(read.count)))
        seen.append(
            sums.assign(
                unit_id=read.unit_ids,
                ridden_as=read.ridden_as,
                reading_count=read.count,
                gap_days=read.days_since_last(as_of),
            )
        )
    bikes = pd.concat(seen, ignore_index=True).set_index("unit_id")
    spread = apart.spread(half_life_days)
    summed = _from_sums(bikes, spread).assign(gap_days=bikes["gap_days"])
    summed, spread = _about_groups(summed, bikes["ridden_as"], spread)
    return Riding(_rates(summed, bikes, spread, stale_after_days, level), summed, spread)


def km_ahead(
    riding: Riding, unit_ids: pd.Series, days: np.ndarray, z: np.ndarray | float = 0.0
) -> np.ndarray:
    """Quantiles of the km that bikes run from the as-of day in so many days.

    Parameters
    ----------
    riding : Riding
        What ``riding_rates`` made of the readings.
    unit_ids : series of shape (n,)
        Bikes; one not in ``riding`` is ridden as all bikes are.
    days : array of shape (k,)
        Days ahead, 0 or more.
    z : float or array of shape (q,)
        Standard normal quantiles: 0 the median, 1.645 the upper 5 %.

    Returns
    -------
    array of shape (n, k, q), km
    """
    summed = riding.summed.reindex(unit_ids)
    blank = summed["middle"].isna()
    summed["middle"] = summed["middle"].fillna(_overall(riding.summed))
    summed["gap_days"] = summed["gap_days"].where(~blank, np.inf)
    days, z = np.atleast_1d(np.asarray(days, dtype=float)), np.atleast_1d(np.asarray(z, float))
    mean, variance = _log_rate_over(summed, riding.spread, np.zeros(len(summed)), days)
    log_rate = mean[:, :, None] + np.sqrt(variance)[:, :, None] * z
    return np.exp(log_rate) * days[:, None]


def _mean_decay(days: np.ndarray, decay: float) -> np.ndarray:
    """Mean of exp(-decay t) over a stretch, seen from its end."""
    x = decay * np.asarray(days, dtype=float)
    return np.where(x < 1e-6, 1 - x / 2, -np.expm1(-x) / np.where(x < 1e-6, 1.0, x))


def _self_correlation(days: np.ndarray, decay: float) -> np.ndarray:
    """Mean of exp(-decay |s - t|) over all s and t of a stretch."""
    x = decay * np.asarray(days, dtype=float)
    small = x < 1e-3
    safe = np.where(small, 1.0, x)
    return np.where(small, 1 - x / 3, 2 * (safe + np.expm1(-safe)) / safe**2)


def _lumps(relative_variance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean and variance of the logarithm of a gamma variable of mean 1, which lumpy km resemble.

    Over a stretch so short that most such bikes stand still, no more than an exponential one's.
    """
    shape = 1 / np.clip(relative_variance, 1e-9, 1.0)
    return digamma(shape) - np.log(shape), polygamma(1, shape)


class _Apart:
    """Squared differences between stretches of the same bike, and what each is expected to be.

    For each lag the squares, and what a unit of the lumps' variance and of the drift's adds to
    them, kept apart so that their order hangs on the bikes alone.
    """

    def __init__(self) -> None:
        self._by_lag: list[list[np.ndarray]] = [[] for _ in _LAGS]

    def add(self, stretches: pd.DataFrame, half_life_days: float) -> None:
        """Take up stretches of further bikes."""
        decay = np.log(2) / half_life_days
        unit, days, km, to_end = (stretches[name].to_numpy() for name in _STRETCH)
        whole = stretches.groupby("unit_id")[["km", "days"]].sum()
        usual = whole["km"] / whole["days"]
        rate = km / days / usual.where(usual > 0).reindex(unit).to_numpy()
        near, own = _mean_decay(days, decay), _self_correlation(days, decay)
        for lag, found in zip(_LAGS, self._by_lag, strict=True):
            late = np.flatnonzero(unit[lag:] == unit[:-lag]) + lag
            early = late - lag
            between = to_end[early] - days[late] - to_end[late]
            cross = near[late] * near[early] * np.exp(-decay * between)
            drift = own[late] + own[early] - 2 * cross
            lumps = 1 / days[late] + 1 / days[early]
            terms = np.array([(rate[late] - rate[early]) ** 2, lumps, drift])
            found.append(terms[:, np.isfinite(terms).all(axis=0)])

    def spread(self, half_life_days: float) -> Spread:
        """Drift and lumps from all of them (a variogram)."""
        found = []
        for parts in self._by_lag:
            found.append(np.hstack([np.empty((3, 0)), *parts]))
            parts.clear()
        lumps, drift = _fitted(found)
        return Spread(lumps, drift, LEVEL_VARIANCE, half_life_days)


def _fitted(terms: list[np.ndarray]) -> tuple[float, float]:
    """Non-negative weighted least squares of squared differences, drawn to the assumed spreads.

    A squared normal difference has twice its squared mean as variance; the weights follow.
    """
    assumed = np.array([LUMPS_DAYS, DRIFT_VARIANCE])
    value, prior = assumed, np.sqrt(PRIOR_COUNT) / assumed
    for _ in range(4):
        square, moment = np.diag(prior**2), prior**2 * assumed
        for one in terms:
            for begin in range(0, one.shape[1], _TERMS_AT_ONCE):
                squared, *rest = one[:, begin : begin + _TERMS_AT_ONCE]
                expected = rest[0] * value[0] + rest[1] * value[1]
                weight = 1 / np.maximum(expected, 1e-6)
                lumps, drift = (column * weight for column in rest)
                squared = squared * weight
                square += [[_dot(a, b) for a in (lumps, drift)] for b in (lumps, drift)]
                moment += [_dot(lumps, squared), _dot(drift, squared)]
        root = np.linalg.cholesky(square)  # as much as the rows themselves tell
        value, _ = nnls(root.T, np.linalg.solve(root, moment))
        value = np.maximum(value, assumed * 1e-3)
    return float(value[0]), float(value[1])


def _dot(one: np.ndarray, other: np.ndarray) -> float:
    """Not a product of matrices, whose last digit hangs on the processor."""
    return float((one * other).sum())


def _sums(stretches: pd.DataFrame, decay: float, units: pd.Index) -> pd.DataFrame:
    """Each bike's weighted km a day, and by what a drift's and lumps' variance counts in it."""
    days = stretches["days"].to_numpy()
    near = _mean_decay(days, decay)
    since_end = np.exp(-decay * stretches["to_end"].to_numpy())
    weight = pd.Series(days * near * since_end).groupby(stretches["unit_id"].to_numpy())
    share = (days * near * since_end) / weight.transform("sum").to_numpy()
    pulled = share * near * since_end
    before = _sum_before(share * near, stretches, decay)
    drift = share**2 * _self_correlation(days, decay) + 2 * share * near * before
    table = pd.DataFrame(
        {
            "rate": share * stretches["km"].to_numpy() / days,
            "drift": drift,
            "lumps": share**2 / days,
            "recall": pulled,
        }
    )
    return table.groupby(stretches["unit_id"].to_numpy()).sum().reindex(units)


def _from_sums(total: pd.DataFrame, spread: Spread) -> pd.DataFrame:
    """Each bike's weighted rate, its variance about the bike's level, and its recall."""
    lower, lumps = _lumps(spread.lumps * total["lumps"].to_numpy())
    median = total["rate"][total["rate"] > 0].median()
    least = _LEAST_SHARE * (median if np.isfinite(median) else ASSUMED_KM_PER_DAY)
    log_rate = np.log(total["rate"].clip(lower=least)) - lower
    variance = spread.drift * total["drift"] + lumps
    return pd.DataFrame({"log_rate": log_rate, "variance": variance, "recall": total["recall"]})


def _sum_before(pulled: np.ndarray, stretches: pd.DataFrame, decay: float) -> np.ndarray:
    """Over the bike's earlier stretches, the sum of ``pulled`` faded to each stretch's start."""
    faded = pulled * np.exp(-decay * stretches["to_end"].to_numpy())
    sums = pd.Series(faded, stretches.index).groupby(stretches["unit_id"]).cumsum() - faded
    start = stretches["to_end"] + stretches["days"]
    return (sums * np.exp(decay * start)).to_numpy()


def _about_groups(
    summed: pd.DataFrame, ridden_as: pd.Series, spread: Spread
) -> tuple[pd.DataFrame, Spread]:
    """Median of each bike's group, drawn to that of all, and the variance of levels about it."""
    known = summed["log_rate"].notna()
    overall = summed["log_rate"].median() if known.any() else np.log(ASSUMED_KM_PER_DAY)
    groups = summed["log_rate"].groupby(ridden_as)
    trust = groups.transform("count") / (groups.transform("count") + _GROUP_HALF)
    middle = overall + trust * (groups.transform("median") - overall)
    summed = summed.assign(middle=middle.fillna(overall))
    apart = (summed["log_rate"] - summed["middle"])[known]
    found = float((norm.ppf(0.75) ** -1 * apart.abs().median()) ** 2) if known.any() else 0.0
    found = max(found - float(summed["variance"][known].median()), 0.0) if known.any() else 0.0
    n = int(known.sum())
    pooled = (n * found + PRIOR_COUNT * LEVEL_VARIANCE) / (n + PRIOR_COUNT)
    return summed, Spread(spread.lumps, spread.drift, pooled, spread.half_life_days)


def _overall(summed: pd.DataFrame) -> float:
    known = summed["log_rate"].dropna()
    return float(known.median()) if len(known) else float(np.log(ASSUMED_KM_PER_DAY))


def _log_rate_over(
    summed: pd.DataFrame, spread: Spread, start: np.ndarray, days: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Mean and variance of log mean km a day over ``days`` from ``start`` days after the as-of day.

    ``days`` of shape (k,) or (n, k); ``start`` of shape (n,), below 0 for the stretch from the last
    reading. Results of shape (n, k).
    """
    stretch = np.maximum(np.atleast_2d(days), 1e-9)
    own, recall = summed["log_rate"].to_numpy(), summed["recall"].fillna(0.0).to_numpy()
    since = (summed["gap_days"].to_numpy() + start)[:, None]
    ahead = spread.drift * recall[:, None] * np.exp(-spread.decay * since)
    shared = spread.level + ahead * _mean_decay(stretch, spread.decay)
    seen = np.where(np.isnan(own), np.inf, spread.level + summed["variance"].to_numpy())[:, None]
    pull = shared / seen
    apart = np.nan_to_num(own - summed["middle"].to_numpy())[:, None]
    lower, lumps = _lumps(spread.lumps / stretch)
    mean = summed["middle"].to_numpy()[:, None] + pull * apart + lower
    whole = spread.level + spread.drift * _self_correlation(stretch, spread.decay)
    return mean, np.maximum(whole - pull * shared, 0.0) + lumps


def _rates(
    summed: pd.DataFrame,
    bikes: pd.DataFrame,
    spread: Spread,
    stale_after_days: float,
    level: float,
) -> pd.DataFrame:
    z = norm.ppf((1 + level) / 2) * np.array([0.0, -1.0, 1.0])
    quoted = np.array([QUOTED_DAYS])
    mean, variance = _log_rate_over(summed, spread, np.zeros(len(summed)), quoted)
    rate = np.exp(mean + np.sqrt(variance) * z)
    gap = summed["gap_days"].to_numpy()
    mean, variance = _log_rate_over(summed, spread, -gap, gap[:, None])
    since = np.exp(mean + np.sqrt(variance) * z) * gap[:, None]
    seen = spread.level + summed["variance"]
    faded = spread.drift * summed["recall"] * np.exp(-spread.decay * summed["gap_days"])
    own = (spread.level + faded * _mean_decay(quoted, spread.decay)) / seen
    table = pd.DataFrame(
        {
            "unit_id": summed.index,
            **_three("km_per_day", rate),
            "own_share": own.fillna(0.0).clip(0, 1).to_numpy(),
            "reading_count": bikes["reading_count"].to_numpy(),
            "days_since_reading": gap,
            **_three("km_since_reading", since),
            "odometer_stale": gap > stale_after_days,
        }
    )
    return RIDING_RATES.check(table.assign(words=[_words(row) for row in table.itertuples()]))


def _three(name: str, values: np.ndarray) -> dict[str, np.ndarray]:
    return {name + end: values[:, i] for i, end in enumerate(("", "_low", "_high"))}


def _words(row: tuple) -> str:
    rate = f"About {row.km_per_day:,.0f} km a day, likely {row.km_per_day_low:,.0f} to "
    rate += f"{row.km_per_day_high:,.0f}"
    if row.own_share == 0:
        rate += ", by how such bikes are ridden: its own readings are too few"
    if not row.odometer_stale:
        return f"{rate}."
    return (
        f"{rate}; its odometer was last read {row.days_since_reading:,.0f} days ago, so its km and "
        "any date are a guess."
    )
