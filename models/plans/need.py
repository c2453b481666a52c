"""Chance that each sensor asks for a new part by a day, under the work planned for it.

With F(d) the chance of a defect by day d and G(d) that it is heard of by then, both for a sensor
left alone, and work planned for day t:

- none: the need by d is G(d);
- a replacement: G(d) before t, 1 from t on;
- a test of sensitivity s and false alarm f: G(d) before t; from t on G(t), what the test finds,
  s Q with Q = F(t) - G(t) and f (1 - F(t)), what it missed and is heard of later,
  (1 - s) Q (1 - exp(-r (d - t))), and the new defects heard of by d, the rest of G(d) - G(t).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from models.plans.outlook import Outlook
from models.plans.schemas import NEED_BY_DRAW, PLANNED_WORK

#: Sensors whose needs are told as rows at a time.
_AT_ONCE = 4_000


def part_need(outlook: Outlook, work: pd.DataFrame) -> np.ndarray:
    """Chance of a need by each day of the outlook, shape (n, fits, days); blank where not known.

    Parameters
    ----------
    outlook : Outlook
        Of n sensors.
    work : frame of shape (n, ...)
        PLANNED_WORK, one row a sensor of the outlook, in any order.
    """
    planned = PLANNED_WORK.check(work).set_index("sensor_id").loc[outlook.sensors["sensor_id"]]
    kind = planned["work"].fillna("").to_numpy(dtype=object)
    start = planned["work_days"].to_numpy(float)
    need = outlook.heard.copy()
    for name, after in (("replace", _replaced), ("test", _tested)):
        some = np.flatnonzero((kind == name) & (start <= outlook.days[-1:].max(initial=-1)))
        if len(some):
            need[some] = after(outlook, some, start[some])
    return need


def _replaced(outlook: Outlook, some: np.ndarray, start: np.ndarray) -> np.ndarray:
    heard = outlook.heard[some]
    begun = outlook.days >= start[:, None]
    # a sensor whose chances are not known is replaced all the same
    return np.where(begun[:, None, :], 1.0, heard)


def _tested(outlook: Outlook, some: np.ndarray, start: np.ndarray) -> np.ndarray:
    heard, begun = outlook.heard[some], outlook.days >= start[:, None]
    known_of = _on_day(heard, outlook.days, start)[:, :, None]
    defect = _on_day(outlook.defect[some], outlook.days, start)[:, :, None]
    silent = np.maximum(defect - known_of, 0.0)
    s, f = outlook.test
    daily = outlook.sensors["km_per_day"].to_numpy(float)[some]
    gone = np.maximum(outlook.days - start[:, None], 0.0) * daily[:, None]
    later = -np.expm1(-outlook.heard_per_km * gone)[:, None, :]
    new = np.maximum(heard - known_of - silent * later, 0.0)
    need = known_of + s * silent + f * (1 - defect) + (1 - s) * silent * later + (1 - f) * new
    need = np.where(begun[:, None, :], np.clip(need, 0.0, 1.0), heard)
    # km by a date have a spread in what is heard and none in `gone`, so that the two may cross
    return np.maximum.accumulate(need, axis=2)


def _on_day(values: np.ndarray, days: np.ndarray, day: np.ndarray) -> np.ndarray:
    """Values of shape (n, fits, days) on one day a row, drawn straight."""
    low = np.clip(np.searchsorted(days, day, side="right") - 1, 0, len(days) - 2)
    share = ((day - days[low]) / np.diff(days)[low])[:, None]
    rows = np.arange(len(values))
    return values[rows, :, low] * (1 - share) + values[rows, :, low + 1] * share


def needs_by_part(
    outlook: Outlook, work: pd.DataFrame
) -> Iterator[tuple[pd.DataFrame, np.ndarray]]:
    """The same of some sensors at a time, for the memory; at least once.

    Parameters
    ----------
    outlook : Outlook
        Of n sensors.
    work : frame of shape (n, ...)
        PLANNED_WORK, in the order of the sensors.

    Yields
    ------
    Their rows of ``outlook.sensors``, and the chances, shape (some, fits, days).
    """
    for start in range(0, max(len(outlook.sensors), 1), _AT_ONCE):
        some = slice(start, start + _AT_ONCE)
        own = outlook.of(some)
        yield own.sensors, part_need(own, work.iloc[some])


def need_rows(sensors: pd.DataFrame, days: np.ndarray, need: np.ndarray) -> pd.DataFrame:
    """Needs as rows in the columns of ``NEED_BY_DRAW``.

    Parameters
    ----------
    sensors : frame of shape (n, ...)
        With ``sensor_id``.
    days : array of shape (k,)
        Days ahead.
    need : array of shape (n, fits, k)
        Chance of a need by each, blank where not known.
    """
    draw, day = np.indices(need.shape[1:]).reshape(2, -1)
    ids = sensors["sensor_id"]
    return NEED_BY_DRAW.check(
        pd.DataFrame(
            {
                "sensor_id": ids.repeat(len(day)).array,
                "draw": np.tile(draw, len(ids)),
                "days": np.tile(days[day], len(ids)),
                "need": need.reshape(-1),
            }
        )
    )
