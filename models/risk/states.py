"""A sensor's state put to the nearest steps, so that what is worked out there may be remembered.

From one day to the next a sensor that nobody has touched runs some tens of km. What hardly changes
over them is worked out at states that stand fast for weeks: at the nearest one, or at the two
between which a sensor stands, and drawn straight between these. A state is a function of the
records alone, whatever was worked out before.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

#: Steps of the km since a sensor was last tested or its bike last read, a share of them but of
#: `FINE_KM` at the least, and of the chance that its bike is in view, to which a state is rounded.
STEP, FINE_KM, STEP_VIEW = 0.25, 100.0, 0.1
#: The former where a sensor is put between two states: drawn straight, they may lie wider apart.
WIDE_STEP = 0.5
#: Steps of the days since it was last dated, a sixteenth of a year: the season moves widths little.
_STEP_DAYS = 365.25 / 16
#: Days that a state may lie from today: a bike that hardly runs would be told by a far year.
_MOST_DAYS = 2 * 365.25
#: Two keys of a hash of 64 bits, so that no two states are taken for one.
_KEYS = ("widths of chance", "widths once more")
_OF_STATE = (
    *("part_no", "duty", "repaired", "age_known", "entry_km", "age_now_km", "good_km"),
    *("contact_km", "km_per_day", "shop_id", "earlier_repairs"),
)
#: The days of a sensor's ages.
DATES = ("entry_on", "good_on", "now_on")


class Between(NamedTuple):
    """The states between which sensors stand, each of them once.

    ``states`` and ``in_view`` by state, ``low`` and ``high`` of shape (n,) the places there of each
    sensor's two, ``part`` of shape (n,) how far it is on its way from the one to the other.
    """

    states: pd.DataFrame
    in_view: np.ndarray
    low: np.ndarray
    high: np.ndarray
    part: np.ndarray

    def drawn(self, values: np.ndarray) -> np.ndarray:
        """Values of shape (n, columns) of the sensors, by those of the states."""
        part = self.part[:, None]
        return (1 - part) * values[self.low] + part * values[self.high]


def near_state(
    sensors: pd.DataFrame, in_view: np.ndarray, step: float = STEP
) -> tuple[pd.DataFrame, np.ndarray]:
    """Sensors and chances of being in view, each to the nearest step.

    What has happened stays where it was: the age today is moved, no further back than to the last
    of what is known of the sensor, and with it a contact that lasts to this day, and the day, as
    the bike rides. A bike sure to be in view would have been heard of today, whenever its contact
    was: its contact counts as today's and holds no age back. (Complaints, which a sensor's own
    chance counts up to its contact, are then taken to have been watched to this day.)
    """
    least, today, view = _grounds(sensors, in_view)
    age = least + near_km(sensors["age_now_km"].to_numpy(float) - least, step)
    return _at_age(sensors, age, today), view


def between_states(sensors: pd.DataFrame, in_view: np.ndarray) -> Between:
    """Two states of each sensor, at the steps below and above its age; one where it stands on one.

    Else as ``near_state``.
    """
    least, today, view = _grounds(sensors, in_view)
    km = np.maximum(sensors["age_now_km"].to_numpy(float) - least, 0.0)
    below = np.floor(_steps(km, WIDE_STEP))
    begin, end = (_km_of(steps, WIDE_STEP) for steps in (below, below + 1))
    part = np.clip((km - begin) / (end - begin), 0.0, 1.0)
    above = np.flatnonzero(part > 0)
    states = pd.concat(
        [
            _at_age(sensors, least + begin, today),
            _at_age(sensors.iloc[above], (least + end)[above], today[above]),
        ],
        ignore_index=True,
    )
    low = np.arange(len(sensors))
    high = low.copy()
    high[above] = len(sensors) + np.arange(len(above))
    return Between(states, np.append(view, view[above]), low, high, part)


def _grounds(
    sensors: pd.DataFrame, in_view: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The least age, whether the contact is today's, and the chance of being in view, by sensor."""
    age, contact = (sensors[name].to_numpy(float) for name in ("age_now_km", "contact_km"))
    view = near_view(in_view)
    today = (contact >= age) | (view >= 1.0) & ~np.isnan(contact)
    past = [sensors[name].to_numpy(float) for name in ("entry_km", "good_km", "last_test_km")]
    least = np.fmax.reduce([*past, np.where(today, np.nan, contact), np.zeros(len(sensors))])
    return least, today, view


def _at_age(sensors: pd.DataFrame, age: np.ndarray, today: np.ndarray) -> pd.DataFrame:
    """Sensors once they have, or had, reached an age."""
    contact = np.where(today, age, sensors["contact_km"].to_numpy(float))
    moved = sensors.assign(age_now_km=age, contact_km=contact)
    if set(DATES) <= set(sensors.columns):
        further = age - sensors["age_now_km"].to_numpy(float)
        moved = moved.assign(now_on=_near_day(sensors, further))
    return moved


def _near_day(sensors: pd.DataFrame, further_km: np.ndarray) -> pd.Series:
    """The day on which a bike is so much further, to the nearest step.

    Steps go from the day a sensor was last dated: not all step at once. A bike whose pace is not
    known stays where it is.
    """
    pace = sensors["km_per_day"].to_numpy(float)
    ridden = np.divide(further_km, pace, out=np.zeros(len(sensors)), where=pace > 0)
    ridden = np.clip(ridden, -_MOST_DAYS, _MOST_DAYS)
    dated = sensors[["entry_on", "good_on"]].max(axis=1).fillna(pd.Timestamp(0))
    days = np.maximum((sensors["now_on"] - dated).dt.days + ridden, 0.0)
    steps = pd.to_timedelta((days / _STEP_DAYS).round() * _STEP_DAYS, unit="D")
    return (dated + steps).astype(sensors["now_on"].dtype)


def near_km(km: np.ndarray, step: float = STEP) -> np.ndarray:
    """Km, at least nought, to the nearest step."""
    return _km_of(np.round(_steps(np.maximum(km, 0.0), step)), step)


def _steps(km: np.ndarray, step: float) -> np.ndarray:
    return np.arcsinh(km / FINE_KM) / step


def _km_of(steps: np.ndarray, step: float) -> np.ndarray:
    return FINE_KM * np.sinh(step * steps)


def near_view(in_view: np.ndarray) -> np.ndarray:
    """Chances of being in view to the nearest step."""
    return STEP_VIEW * np.round(np.asarray(in_view, dtype=float) / STEP_VIEW)


def spread_keys(
    sensors: pd.DataFrame, in_view: np.ndarray, wear_readings: pd.DataFrame | None
) -> np.ndarray:
    """Digests of all that the spreads of a sensor hang on but the fit, shape (n, 2)."""
    dates = [name for name in DATES if name in sensors.columns]
    state = sensors[[*_OF_STATE, *dates]].assign(in_view=in_view)
    keys = hashes(state)
    if wear_readings is None:
        return keys
    for column, key in enumerate(_KEYS):
        of_test = pd.Series(_hashes(wear_readings, key), wear_readings["life_id"].to_numpy())
        of_life = of_test.groupby(level=0).sum()  # wraps round; the order of tests is in their km
        told = of_life.reindex(sensors["life_id"].to_numpy(), fill_value=np.uint64(0))
        keys[:, column] += np.uint64(3) * told.to_numpy(dtype=np.uint64)
    return keys


def hashes(frame: pd.DataFrame) -> np.ndarray:
    """Digests of the rows of a frame, shape (n, 2)."""
    return np.column_stack([_hashes(frame, key) for key in _KEYS])


def _hashes(frame: pd.DataFrame, key: str) -> np.ndarray:
    rows = pd.util.hash_pandas_object(frame, index=False, hash_key=key)
    return rows.to_numpy(dtype=np.uint64)
