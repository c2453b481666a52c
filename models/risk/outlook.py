"""What the plans need to know of each sensor ahead: its chances by km, and by date and fit.

A fit is one draw of the parameters from their distribution, the same for all sensors, so that a
sum over sensors spreads as widely as the parameters are uncertain. Fit 0 is the estimate itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from models.frames import Column, FrameSchema
from models.risk.ahead import heard_ahead
from models.risk.delay import assumed_delay
from models.risk.estimates import ESTIMATE_KM, MOST, Estimates
from models.risk.hazard import DefectHazard
from models.risk.now import drawn_chances
from models.risk.odometer_rate import Riding, km_ahead
from models.risk.spreads import Remember, drawn_with

#: Days from the as-of day at which the outlook is given.
OUTLOOK_DAYS = (0, 7, 14, 21, 28, 35, 42, 56, 70, 91, 126, 182)
#: Km ahead at which it is given.
OUTLOOK_KM = ESTIMATE_KM
#: Ages at which the hazard of a sensor fitted new is given, km.
NEW_LIFE_KM = tuple(float(km) for km in range(0, 205_000, 5_000))
_NODES = 5
_FITS = 10
#: Sensors whose chances by date are averaged over the km run by then, or told, at a time, for the
#: memory.
_AT_ONCE = 1_000

SENSOR_OUTLOOK = FrameSchema(
    "sensor_outlook",
    "one sensor in service: what the plans rest on, beside its chances ahead",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("defect_now", "number", "chance of a defect now", "", True),
        Column("km_per_day", "number", "median of the bike's km a day ahead", "km/d", True),
        Column(
            "new_hazard_ratio",
            "number",
            "hazard of a sensor fitted new in its place over the common curve's",
            "",
            True,
        ),
    ),
)

DEFECT_BY_KM = FrameSchema(
    "defect_by_km",
    "one sensor in service and one distance ahead",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("km", "number", "distance ahead", "km"),
        Column("defect", "number", "chance of a defect by then, nobody testing before"),
    ),
)

DEFECT_BY_DAY = FrameSchema(
    "defect_by_day",
    "one sensor in service, one fit and one day ahead",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("draw", "whole", "0 the estimate, 1 and on fits drawn"),
        Column("days", "whole", "days from the as-of day", "d"),
        Column("defect", "number", "chance of a defect by then, nobody testing before"),
        Column("heard", "number", "chance that a defect is heard of by then"),
    ),
)


class ByDay(NamedTuple):
    """Chances by date and fit, of sensors whose bike has been read.

    ``sensor_ids`` a series of shape (n,), ``days`` of shape (k,), ``defect`` and ``heard`` of shape
    (n, fits, k).
    """

    sensor_ids: pd.Series
    days: np.ndarray
    defect: np.ndarray
    heard: np.ndarray

    def parts(self) -> Iterator[pd.DataFrame]:
        """DEFECT_BY_DAY of some sensors at a time, for the memory; at least once."""
        for begin in range(0, max(len(self.sensor_ids), 1), _AT_ONCE):
            some = slice(begin, begin + _AT_ONCE)
            keys = {"draw": np.arange(self.defect.shape[1]), "days": self.days}
            values = {"defect": self.defect[some], "heard": self.heard[some]}
            yield DEFECT_BY_DAY.check(_long(self.sensor_ids.iloc[some], keys, values))


class DefectsAhead(NamedTuple):
    """Chances ahead: ``by_day`` those by date.

    ``km`` of shape (k,); ``sensor_ids`` of shape (n,) whose chances are known, ``drawn`` their
    chances by km of shape (fits, n, k), the estimate first, and ``heard_per_km`` of shape (fits,)
    the rates at which a defect is heard of.
    """

    km: np.ndarray
    by_day: ByDay
    sensor_ids: np.ndarray
    drawn: np.ndarray
    heard_per_km: np.ndarray

    def by_km_parts(self) -> Iterator[pd.DataFrame]:
        """DEFECT_BY_KM, the estimate's, of some sensors at a time; at least once."""
        ids = pd.Series(self.sensor_ids, dtype="str")
        for begin in range(0, max(len(ids), 1), _AT_ONCE):
            some = slice(begin, begin + _AT_ONCE)
            defect = self.drawn[:1, some].reshape(-1, len(self.km))
            told = _long(ids.iloc[some], {"km": self.km}, {"defect": defect})
            yield DEFECT_BY_KM.check(told)


NEW_LIFE_CURVE = FrameSchema(
    "new_life_curve",
    "one age of a sensor fitted new",
    (
        Column("age_km", "number", "age", "km"),
        Column("cumulative_hazard", "number", "common cumulative hazard of the defect"),
    ),
)


def sensor_outlook(
    model: DefectHazard | None,
    sensors_now: pd.DataFrame,
    defect_now: pd.Series,
    riding: Riding | None,
    new_parts: Mapping[str, str],
) -> pd.DataFrame:
    """What the plans rest on, by sensor, in the columns of ``SENSOR_OUTLOOK``.

    Parameters
    ----------
    model : DefectHazard or None
        Fitted; None where no life was observed.
    sensors_now : frame of shape (n, ...)
        Columns of ``SENSORS_NOW``.
    defect_now : series of shape (n,), indexed by sensor
        Chance of a defect now.
    riding : Riding or None
        Of the bikes.
    new_parts : mapping of str to str
        Part number that is fitted in place of one that has been superseded.
    """
    daily = {} if riding is None else riding.rates.set_index("unit_id")["km_per_day"].to_dict()
    ratio = np.nan if model is None else _new_hazard_ratio(model, sensors_now, new_parts)
    return SENSOR_OUTLOOK.check(
        pd.DataFrame(
            {
                "sensor_id": sensors_now["sensor_id"].to_numpy(),
                "defect_now": defect_now.reindex(sensors_now["sensor_id"]).to_numpy(float),
                "km_per_day": sensors_now["unit_id"].map(daily).astype("float64").to_numpy(),
                "new_hazard_ratio": ratio,
            }
        )
    )


def _new_hazard_ratio(
    model: DefectHazard, sensors_now: pd.DataFrame, new_parts: Mapping[str, str]
) -> np.ndarray:
    new = sensors_now.assign(
        part_no=sensors_now["part_no"].replace(dict(new_parts)), repaired=False, earlier_repairs=0
    )
    other = model.life_columns_.transform(new)
    return np.exp(other @ model.life_coef_)


def new_life_curve(model: DefectHazard | None) -> pd.DataFrame:
    """Common cumulative hazard of a sensor fitted new, in the columns of ``NEW_LIFE_CURVE``."""
    if model is None:
        return NEW_LIFE_CURVE.empty()
    ages = np.array(NEW_LIFE_KM)
    common = pd.DataFrame({"part_no": [None], "duty": [None], "repaired": [False]})
    # a part nobody has seen has the common hazard; the ratio of each sensor stands beside it
    total = model.predict_cumulative_hazard(common, ages[None, :])[0]
    ratio = np.exp(model.life_columns_.transform(common) @ model.life_coef_)
    frame = pd.DataFrame({"age_km": ages, "cumulative_hazard": total / ratio})
    return NEW_LIFE_CURVE.check(frame)


def defects_ahead(
    model: DefectHazard | None,
    sensors_now: pd.DataFrame,
    riding: Riding | None,
    settings: Mapping[str, Any],
    *,
    km: tuple[float, ...] = OUTLOOK_KM,
    days: tuple[int, ...] = OUTLOOK_DAYS,
    n_fits: int = _FITS,
    remember: Remember | None = None,
    estimates: Estimates | None = None,
) -> DefectsAhead:
    """Chances of a defect by km, and of a defect and of its being heard of by date and fit.

    By a date they are averaged over the km that the bike may have run by then.

    Parameters
    ----------
    model, sensors_now, riding
        As in ``sensor_outlook``.
    settings : mapping
        Those of ``defect_chances``, as ``RiskResults.settings`` holds them.
    km : tuple of float
        Distances ahead, rising from 0.
    days : tuple of int
        Days ahead, rising from 0.
    n_fits : int
        Fits drawn beside the estimate.
    remember : callable, optional
        How far each fit's chances lie from the estimate's, in log odds, is then worked out near a
        sensor's state (``models.risk.spreads``), and what it remembers is not worked out again.
    estimates : Estimates, optional
        Of the sensors, beside ``remember``: the estimate's chances need not be worked out again.

    Returns
    -------
    DefectsAhead; sensors whose age or riding is not known are left out of both, or of the second.
    """
    known = sensors_now["age_now_km"].notna().to_numpy()
    if model is None or not known.any():
        none = np.zeros((0, 0, len(km)))
        by_day = _not_ridden(1, days)
        return DefectsAhead(np.array(km), by_day, np.zeros(0, object), none, np.zeros(0))
    sensors = sensors_now[known].reset_index(drop=True)
    if estimates is not None:
        estimates = estimates.take(np.flatnonzero(known))
    drawn = _drawn(model, sensors, km, n_fits, settings, remember, estimates)
    rates = (model.delay_ or assumed_delay()).draw(n_fits, settings.get("seed", 0))
    by_day = _not_ridden(len(rates), days)
    if riding is not None:
        by_day = _by_day(drawn, rates, sensors, riding, km, days)
    ids = sensors["sensor_id"].to_numpy(dtype=object)
    return DefectsAhead(np.array(km), by_day, ids, drawn, rates)


def _drawn(
    model: DefectHazard,
    sensors: pd.DataFrame,
    km: tuple[float, ...],
    n_fits: int,
    settings: Mapping[str, Any],
    remember: Remember | None,
    estimates: Estimates | None,
) -> np.ndarray:
    """Chances of shape (fits, n, km), not falling with km."""
    view = settings.get("in_view")
    if isinstance(view, pd.Series):
        view = view.reindex(sensors["sensor_id"]).to_numpy(float)
    how = {**settings, "in_view": view, "horizons_km": km, "n_resamples": n_fits}
    if remember is None:
        drawn = drawn_chances(model, sensors, **how)
    else:
        drawn = drawn_with(remember, "fits", model, sensors, estimates=estimates, **how)
    np.clip(drawn, 0.0, MOST, out=drawn)
    return np.maximum.accumulate(drawn, axis=-1, out=drawn)


def _by_day(
    drawn: np.ndarray,
    rates: np.ndarray,
    sensors: pd.DataFrame,
    riding: Riding,
    km: tuple[float, ...],
    days: tuple[int, ...],
) -> ByDay:
    """Chances by date of the sensors whose bike has been read."""
    ridden = np.flatnonzero(sensors["unit_id"].isin(riding.rates["unit_id"]))
    shape = (len(ridden), len(rates), len(days))
    defect, heard = np.empty(shape, drawn.dtype), np.zeros(shape, drawn.dtype)
    defect[:, :, 0] = drawn[:, ridden, 0].T
    node, weight = np.polynomial.hermite_e.hermegauss(_NODES)
    share = (weight / weight.sum()).astype(drawn.dtype)
    later = np.array(days[1:], dtype=float)
    for begin in range(0, len(ridden), _AT_ONCE):
        some = ridden[begin : begin + _AT_ONCE]
        run = km_ahead(riding, sensors["unit_id"].iloc[some], later, node).reshape(len(some), -1)
        ahead = heard_ahead(np.array(km), drawn[:, some].swapaxes(0, 1), rates, run)
        for values, part in zip((defect, heard), ahead, strict=True):
            by_node = part.reshape(len(some), len(rates), len(later), _NODES)
            values[begin : begin + _AT_ONCE, :, 1:] = by_node @ share
    return ByDay(sensors["sensor_id"].iloc[ridden], np.array(days), defect, heard)


def _not_ridden(fits: int, days: tuple[int, ...]) -> ByDay:
    """Of no sensor."""
    none = np.zeros((0, fits, len(days)))
    return ByDay(pd.Series(dtype="str"), np.array(days), none, none)


def _long(
    sensor_ids: pd.Series, keys: Mapping[str, np.ndarray], values: Mapping[str, np.ndarray]
) -> pd.DataFrame:
    """One row for each sensor and combination of keys, values being laid out in that order."""
    axes = np.meshgrid(*keys.values(), indexing="ij")
    each = int(np.prod([len(key) for key in keys.values()]))
    frame: dict[str, Any] = {"sensor_id": sensor_ids.repeat(each).array}
    frame |= {
        name: np.tile(axis.ravel(), len(sensor_ids)) for name, axis in zip(keys, axes, strict=True)
    }
    return pd.DataFrame(frame | {name: value.reshape(-1) for name, value in values.items()})
