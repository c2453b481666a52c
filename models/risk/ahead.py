"""Chance of a defect and of a road failure within some km, and by a date.

A road failure follows a defect after the delay of ``models.risk.delay``: with F(u) the chance that
a sensor has the defect after u km more, and each km with the defect heard of at the rate r, the
chance that it is heard of within h km is

    G(h) = F(0) (1 - exp(-r h)) + integral over u from 0 to h of F'(u) (1 - exp(-r (h - u)))
         = r * integral over u from 0 to h of F(u) exp(-r (h - u)),

the second by parts. A road failure within h km has the chance share * G(h), share being that of
road failures among the defects heard of. Nobody is taken to test or repair the sensor before.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from scipy.linalg import block_diag
from scipy.special import expit, logit
from scipy.stats import beta, norm, qmc

from models.frames import Column
from models.risk.ahead_words import ahead_words
from models.risk.assumed import BetaPrior
from models.risk.delay import Delay, assumed_delay
from models.risk.estimates import ESTIMATE_KM, MOST, Estimates
from models.risk.hazard import DefectHazard
from models.risk.now import Chances, defect_chances
from models.risk.odometer_rate import Riding, km_ahead
from models.risk.schemas import SENSORS_NOW, RecordSchema

HORIZONS_KM = (1_000.0, 5_000.0, 10_000.0)
HORIZONS_DAYS = (30, 90, 180)
#: Share of road failures among the defects heard of, assumed: anything, worth two defects.
ROAD_SHARE = BetaPrior(1.0, 1.0)
#: Km ahead up to which the chance of a defect is always taken; further ones only where needed.
_NEAR_KM = 15_000.0
#: Points of the Gauss-Hermite rule by which the km run by a date are averaged over.
_NODES = 7
#: Sensors worked out at a time, with all draws: as many as a processor holds near it.
_CHUNK = 100
#: Sensors told in words at a time, for the memory.
_TOLD_AT_ONCE = 5_000
_TINY = 1e-12
#: Per km, of defects heard of; slower is as good as never.
_LEAST_RATE = 1e-15

RISK_AHEAD = RecordSchema(
    "risk_ahead",
    "one sensor in service and one horizon: chances from 0 to 1 with a 90 % interval",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("horizon_kind", "text", "km (from now) or days (from the as-of day)"),
        Column("horizon", "number", "how many of these"),
        Column("km", "number", "the horizon in km; of days, the median run by then", "km", True),
        Column("defect", "number", "chance that it has the defect by then", "", True),
        Column("defect_low", "number", "lower end", "", True),
        Column("defect_high", "number", "upper end", "", True),
        Column("road", "number", "chance that a defect lets the rider down by then", "", True),
        Column("road_low", "number", "lower end", "", True),
        Column("road_high", "number", "upper end", "", True),
        Column("odometer_stale", "flag", "the bike has not been read for long: a date is a guess"),
        Column("words", "text", "the same in a sentence"),
    ),
)


class Ahead(NamedTuple):
    """Chances at some km ahead, draws in between: arrays of shape (sensors, draws, km)."""

    defect: np.ndarray
    heard: np.ndarray


class _Draws(NamedTuple):
    """Standard normal quantile of the curve, rate per km and share of road failures, by draw.

    The first is the estimate itself.
    """

    z: np.ndarray
    rate: np.ndarray
    share: np.ndarray


def road_share(windows: pd.DataFrame, prior: BetaPrior = ROAD_SHARE) -> BetaPrior:
    """Share of road failures among the defects that were heard of, the prior moved by counts.

    Parameters
    ----------
    windows : frame of shape (lives, ...)
        Columns of ``LIFE_WINDOWS``.
    prior : BetaPrior
        The share as assumed.
    """
    found = windows[windows["bad_km"].notna()]
    road = found["road_failure"].astype("boolean").fillna(False).astype(bool)
    heard = road.copy()
    if "heard" in found.columns:
        heard |= found["heard"].astype("boolean").fillna(False).astype(bool)
    return prior.after(float(road.sum()), float((heard & ~road).sum()))


def heard_ahead(
    grid_km: np.ndarray, defect: np.ndarray, rate: np.ndarray, at_km: np.ndarray
) -> Ahead:
    """Chance of the defect, and of its being heard of, at some km ahead.

    The chance of the defect is taken as straight between the points of the grid, for which the
    integral of the module's docstring is exact.

    Parameters
    ----------
    grid_km : array of shape (g,)
        Km ahead, rising from 0.
    defect : array of shape (n, draws, g)
        Chance of the defect at each, not falling.
    rate : array of shape (draws,)
        Rate per km at which a defect is heard of.
    at_km : array of shape (n, k)
        Km ahead at which to answer; beyond the grid its last point is given.

    Returns
    -------
    Ahead, arrays of shape (n, draws, k), as precise as ``defect`` is
    """
    kind = defect.dtype
    grid_km, at_km = grid_km.astype(kind), at_km.astype(kind)
    rate = np.maximum(rate, _LEAST_RATE).astype(kind)
    step = np.diff(grid_km)
    by_km = np.ascontiguousarray(defect.swapaxes(1, 2))  # what is looked up together lies together
    slope = np.diff(by_km, axis=1) / step[:, None]
    heard = np.zeros_like(by_km)
    for g, km in enumerate(step):
        heard[:, g + 1] = _onwards(heard[:, g], by_km[:, g], slope[:, g], rate, km)
    at = np.clip(at_km, grid_km[0], grid_km[-1])
    cell = np.clip(np.searchsorted(grid_km, at, side="right") - 1, 0, len(step) - 1)
    on = (at - grid_km[cell])[:, :, None]
    row = np.arange(len(at))[:, None]
    start, tilt, before = (values[row, cell] for values in (by_km, slope, heard))
    later = _onwards(before, start, tilt, rate, on)
    return Ahead((start + tilt * on).swapaxes(1, 2), later.swapaxes(1, 2))


def risk_ahead(model: DefectHazard | None, sensors_now: pd.DataFrame, **asked: Any) -> pd.DataFrame:
    """All of ``risk_ahead_parts`` in one frame; arguments are the same."""
    return pd.concat(risk_ahead_parts(model, sensors_now, **asked), ignore_index=True)


def risk_ahead_parts(
    model: DefectHazard | None,
    sensors_now: pd.DataFrame,
    *,
    riding: Riding | None = None,
    share: BetaPrior = ROAD_SHARE,
    horizons_km: tuple[float, ...] = HORIZONS_KM,
    horizons_days: tuple[float, ...] = HORIZONS_DAYS,
    n_draws: int = 100,
    level: float = 0.9,
    estimates: Estimates | None = None,
    **settings: Any,
) -> Iterator[pd.DataFrame]:
    """Chances of a defect and of a road failure within km and by dates, for each sensor.

    By a date the chances are averaged over the km that the bike may have run by then. The interval
    is by draws of the curve, of the delay and of the share of road failures. The curve's own are
    taken from the interval of ``defect_chances``, two half normals on the log odds, and apart from
    the delay's. A quicker delay makes silence speak louder against a defect now, so that chances
    drawn together spread less: on simulated fleets of 60 and 400 bikes these intervals were 0.97 to
    1.3 times as wide, the most within 1,000 km.

    Parameters
    ----------
    model : DefectHazard or None
        Fitted to the records; None where no life was observed, all chances then being blank.
    sensors_now : frame of shape (n, ...)
        Columns of ``SENSORS_NOW``.
    riding : Riding, optional
        Of the bikes, from ``riding_rates``; without it no horizon in days is answered.
    share : BetaPrior
        Share of road failures among the defects heard of, from ``road_share``.
    horizons_km, horizons_days : tuple of float
        Km from now, and days from the as-of day, above 0.
    n_draws : int
        Number of draws behind the intervals.
    level : float
        Chance that an interval is meant to hold; 0.9 with ``estimates``.
    estimates : Estimates, optional
        Of the sensors, as ``RiskResults.estimates`` holds them: chances and the curve's own
        intervals, which need not be worked out again; ``horizons_km`` are then among theirs.
    **settings
        Those of ``defect_chances``, as ``RiskResults.settings`` holds them: ``in_view`` a series
        indexed by sensor.

    Yields
    ------
    frame in the columns of ``RISK_AHEAD`` of some sensors at a time, for the memory; at least one.
    Sensors come in the order given: km first, then days.
    """
    sensors = SENSORS_NOW.check(sensors_now).reset_index(drop=True)
    km = np.asarray(horizons_km, dtype=float)
    days = np.asarray(horizons_days if riding is not None else (), dtype=float)
    points, counts = _km_points(sensors, riding, km, days)
    known = np.flatnonzero(sensors["age_now_km"].notna() & (model is not None))
    values = np.full((len(sensors), len(km) + len(days), 6), np.nan)
    if model is not None and len(known):
        drawn = _draws(model.delay_ or assumed_delay(), share, n_draws, settings.get("seed", 0))
        grid = _grid(horizons_km, float(points[known].max(initial=0.0)))
        own = None if estimates is None else estimates.take(known)
        chances = _curve(model, sensors.iloc[known], grid, level, own, settings)
        for some in np.split(np.arange(len(known)), np.arange(_CHUNK, len(known), _CHUNK)):
            part = _logit_draws(*(c[some] for c in chances), drawn.z, level)
            ahead = heard_ahead(grid, part, drawn.rate, points[known[some]])
            values[known[some]] = _summary(ahead, drawn.share, counts, level)
    for begin in range(0, max(len(sensors), 1), _TOLD_AT_ONCE):
        told = slice(begin, begin + _TOLD_AT_ONCE)
        yield _frame(sensors.iloc[told], riding, km, days, values[told])


def chances_under(
    model: DefectHazard, sensors_now: pd.DataFrame, settings: Mapping[str, Any]
) -> Chances:
    """``defect_chances`` under the settings of a score, whose ``in_view`` is indexed by sensor."""
    view = settings.get("in_view")
    if isinstance(view, pd.Series):
        seen = view.reindex(sensors_now["sensor_id"]).to_numpy(float)
        settings = {**settings, "in_view": seen}
    return defect_chances(model, sensors_now, **settings)


def _onwards(
    heard: np.ndarray, defect: np.ndarray, slope: np.ndarray, rate: np.ndarray, km: np.ndarray
) -> np.ndarray:
    """Chance of being heard of ``km`` on, the chance of the defect rising straight by ``slope``.

    Where they are few a difference loses digits: what comes out is off by about the rise of the
    chance over them times what the numbers' precision tells 1 from.
    """
    x = rate * km
    gone = np.expm1(-x)
    late = x + gone
    late /= rate
    result = heard - defect
    result *= gone
    result += heard
    result += slope * late
    return result


def _km_points(
    sensors: pd.DataFrame, riding: Riding | None, horizons_km: np.ndarray, days: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Km ahead at which chances are needed, shape (n, points), and what each counts.

    The second has shape (points, horizons): a horizon in km is one point, one in days the nodes of
    a Gauss-Hermite rule over the km run by then.
    """
    fixed = np.broadcast_to(horizons_km, (len(sensors), len(horizons_km)))
    if riding is None or not len(days):
        return fixed, np.eye(len(horizons_km))
    node, weight = np.polynomial.hermite_e.hermegauss(_NODES)
    by_day = km_ahead(riding, sensors["unit_id"], days, node).reshape(-1, len(days) * _NODES)
    counts = np.kron(np.eye(len(days)), (weight / weight.sum())[:, None])
    return np.hstack([fixed, by_day]), block_diag(np.eye(len(horizons_km)), counts)


def _grid(horizons_km: tuple[float, ...], furthest: float) -> np.ndarray:
    near = [km for km in ESTIMATE_KM if km <= _NEAR_KM]
    beyond = ESTIMATE_KM[len(near) :]
    further = [km for km in beyond if km < furthest]
    reach = [km for km in beyond if km >= furthest][:1] if furthest > _NEAR_KM else []
    return np.unique(np.array([*near, *horizons_km, *further, *reach], dtype=float))


def _draws(delay: Delay, share: BetaPrior, n_draws: int, seed: int) -> _Draws:
    """Latin hypercube draws (McKay, Beckman & Conover, Technometrics 21 (1979) 239)."""
    cube = qmc.LatinHypercube(d=3, rng=np.random.default_rng([seed, 4])).random(n_draws)
    return _Draws(
        np.append(0.0, norm.ppf(cube[:, 0])),
        delay.rate_per_km * np.exp(delay.log_sd * np.append(0.0, norm.ppf(cube[:, 1]))),
        np.append(share.mean, beta(share.hits, share.misses).ppf(cube[:, 2])),
    )


def _curve(
    model: DefectHazard,
    sensors: pd.DataFrame,
    grid_km: np.ndarray,
    level: float,
    estimates: Estimates | None,
    settings: dict[str, Any],
) -> tuple[np.ndarray, ...]:
    """Chance of the defect, lower and upper end at the points of the grid, shape (n, grid)."""
    if estimates is None:
        how = settings | {"horizons_km": tuple(grid_km), "level": level}
        found = chances_under(model, sensors, how)
    else:
        found = estimates.at(tuple(grid_km))
    return tuple(np.clip(values, _TINY, 1 - _TINY) for values in found)


def _logit_draws(
    chance: np.ndarray, low: np.ndarray, high: np.ndarray, z: np.ndarray, level: float
) -> np.ndarray:
    """Chances of shape (n, draws, grid) whose interval is the one given: two half normals.

    In single precision, finer than a chance is ever told: half the time.
    """
    odds = (logit(values)[:, None, :].astype(np.float32) for values in (chance, low, high))
    middle, lower, upper = odds
    away = (z[:, None] / norm.ppf((1 + level) / 2)).astype(np.float32)
    shift = np.where(away < 0, middle - lower, upper - middle) * away
    chances = np.minimum(expit(middle + shift), np.float32(MOST))
    return np.maximum.accumulate(chances, axis=-1)


def _summary(ahead: Ahead, share: np.ndarray, counts: np.ndarray, level: float) -> np.ndarray:
    """Defect and road failure, each with its ends, by horizon: shape (n, horizons, 6)."""
    counts, share = counts.astype(np.float32), share.astype(np.float32)
    parts = []
    for chance in (ahead.defect, ahead.heard * share[:, None]):
        # weights add up to 1 but for a last digit
        mean = np.minimum(counts.T @ chance.swapaxes(1, 2), 1)
        point, drawn = mean[..., 0], np.sort(mean[..., 1:], axis=-1)
        low, high = _ends(drawn, level) if len(share) > 1 else (point, point)
        parts += [point, np.minimum(low, point), np.maximum(high, point)]
    return np.stack(parts, axis=-1)


def _ends(rising: np.ndarray, level: float) -> tuple[np.ndarray, np.ndarray]:
    """Quantiles over the last axis, straight between values; numpy's take five times as long."""
    found = []
    for share in ((1 - level) / 2, (1 + level) / 2):
        last = rising.shape[-1] - 1
        below = int(share * last)
        above, part = min(below + 1, last), np.float32(share * last - below)
        found.append(rising[..., below] * (1 - part) + rising[..., above] * part)
    return found[0], found[1]


def _frame(
    sensors: pd.DataFrame,
    riding: Riding | None,
    horizons_km: np.ndarray,
    days: np.ndarray,
    values: np.ndarray,
) -> pd.DataFrame:
    kinds = ["km"] * len(horizons_km) + ["days"] * len(days)
    many = len(kinds)
    stale = _stale(sensors["unit_id"], riding)
    fixed = np.broadcast_to(horizons_km, (len(sensors), len(horizons_km)))
    median = np.empty((len(sensors), 0))
    if riding is not None:
        median = km_ahead(riding, sensors["unit_id"], days)[:, :, 0]
    table = pd.DataFrame(
        {
            "sensor_id": np.repeat(sensors["sensor_id"].to_numpy(), many),
            "horizon_kind": np.tile(np.array(kinds, dtype=object), len(sensors)),
            "horizon": np.tile(np.concatenate([horizons_km, days]), len(sensors)),
            "km": np.hstack([fixed, median]).reshape(-1),
            "odometer_stale": np.repeat(stale, many),
        }
    )
    names = [name + end for name in ("defect", "road") for end in ("", "_low", "_high")]
    table[names] = values.reshape(-1, 6)
    return RISK_AHEAD.check(table.assign(words=ahead_words(table)))


def _stale(unit_ids: pd.Series, riding: Riding | None) -> np.ndarray:
    """Bikes not read for long; one never read counts as such, and where nothing is known, none."""
    if riding is None:
        return np.zeros(len(unit_ids), dtype=bool)
    flags = riding.rates.set_index("unit_id")["odometer_stale"].astype(bool)
    return unit_ids.map(flags).fillna(True).to_numpy(dtype=bool)
