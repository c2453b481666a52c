"""How wide each chance's interval is: worked out near a sensor's state, and carried over to it.

The chance itself is one sum; its interval takes two hundred, one a draw of the parameters. From one
day to the next a sensor that nobody has touched runs some tens of km, which moves its chance a
little and the width of its interval, on the scale of log odds, next to not at all. So the chance is
worked out anew at every build, where the sensor stands, and the width at the two states between
which it stands (``models.risk.states``). That is a function of the records and the fit alone,
whatever was worked out before, but one that may be remembered from build to build.

A sensor with a sign in its last test is compared with the others that show it; its interval is
worked out where it stands.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from scipy.special import expit, logit

from models.risk.estimates import MOST, Estimates
from models.risk.hazard import DefectHazard
from models.risk.now import Chances, defect_chances, drawn_chances
from models.risk.signs import sign_of
from models.risk.states import between_states, hashes, near_state, spread_keys

#: Km ahead at which widths are worked out; between them they are drawn straight. Far ahead they are
#: those at which cells end anyway (``models.risk.cells``), so that these add few.
SPREAD_KM = (
    *(0.0, 500.0, 1_000.0, 2_000.0, 3_000.0, 5_000.0, 7_500.0, 10_000.0, 12_500.0, 15_000.0),
    *(20_000.0, 25_000.0, 34_000.0, 48_000.0, 70_000.0, 100_000.0),
)
LEVEL = 0.9
_TINY = 1e-12


class Spreads(NamedTuple):
    """Width of each interval below and above its chance, in log odds, by sensor and km ahead.

    Arrays of shape (n, len(SPREAD_KM)), blank where a sensor has none of its own.
    """

    below: np.ndarray
    above: np.ndarray

    def take(self, members: np.ndarray) -> Spreads:
        """Those of some sensors."""
        return Spreads(self.below[members], self.above[members])

    def carry(self, chance: np.ndarray, horizons_km: np.ndarray) -> Chances:
        """Chances of shape (n, horizons) with intervals of these widths."""
        middle = logit(np.clip(chance, _TINY, 1 - _TINY))
        below, above = (_at(widths, horizons_km) for widths in self)
        low, high = expit(middle - below), expit(middle + above)
        return Chances(chance, np.minimum(low, chance), np.maximum(high, chance))


#: Gives an array of shape (n, columns), in single precision, by its name and by keys of shape (n,
#: 2); the callable works out the rows of the places that are not remembered.
Remember = Callable[[str, np.ndarray, Callable[[np.ndarray], np.ndarray]], np.ndarray]


def forgetful(name: str, keys: np.ndarray, make: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
    """A ``Remember`` that remembers nothing."""
    return make(np.arange(len(keys))).astype(np.float32)


def spreads_of(
    model: DefectHazard,
    sensors: pd.DataFrame,
    in_view: np.ndarray,
    remember: Remember,
    *,
    n_resamples: int,
    **settings: Any,
) -> Spreads:
    """Spreads of sensors in service of known age, blank for those with a sign.

    Parameters
    ----------
    model : DefectHazard
        Fitted.
    sensors : frame of shape (n, ...)
        Columns of ``SENSORS_NOW``.
    in_view : array of shape (n,)
        Chance that each bike is in view.
    remember : callable
        See ``Remember``; ``forgetful`` has all worked out.
    n_resamples : int
        Draws behind the intervals.
    **settings
        Others of ``defect_chances``.
    """
    shape = (len(sensors), len(SPREAD_KM))
    result = Spreads(np.full(shape, np.nan), np.full(shape, np.nan))
    plain = np.flatnonzero(sign_of(sensors, settings["shares"]).isna())
    some = sensors.iloc[plain].reset_index(drop=True)
    near = between_states(some, in_view[plain])
    keys = spread_keys(near.states, near.in_view, settings["wear_readings"])

    def make(places: np.ndarray) -> np.ndarray:
        found = defect_chances(
            model,
            near.states.iloc[places],
            in_view=near.in_view[places],
            horizons_km=SPREAD_KM,
            n_resamples=n_resamples,
            level=LEVEL,
            **settings,
        )
        chance, low, high = (logit(np.clip(values, _TINY, 1 - _TINY)) for values in found)
        return np.hstack([chance - low, high - chance])

    both = near.drawn(remember("spreads", keys, make))
    result.below[plain], result.above[plain] = np.split(both, 2, axis=1)
    return result


def chances_with(
    spreads: Spreads,
    point: np.ndarray,
    model: DefectHazard,
    sensors: pd.DataFrame,
    *,
    in_view: np.ndarray,
    horizons_km: tuple[float, ...],
    n_resamples: int,
    **settings: Any,
) -> Chances:
    """``defect_chances`` with the widths of ``spreads``; of sensors without any, by draws.

    ``point`` of shape (n, horizons) are the chances alone.
    """
    how = {"horizons_km": horizons_km, **settings}
    result = spreads.carry(point, np.asarray(horizons_km))
    others = np.flatnonzero(np.isnan(spreads.below[:, 0]))
    if len(others):
        some = sensors.iloc[others]
        drawn = defect_chances(
            model, some, in_view=in_view[others], n_resamples=n_resamples, level=LEVEL, **how
        )
        for own, found in zip(result, drawn, strict=True):
            own[others] = found
    return result


def drawn_with(
    remember: Remember,
    name: str,
    model: DefectHazard,
    sensors: pd.DataFrame,
    *,
    in_view: np.ndarray,
    horizons_km: tuple[float, ...],
    n_resamples: int,
    estimates: Estimates | None = None,
    **settings: Any,
) -> np.ndarray:
    """``drawn_chances``, each draw as far from the estimate in log odds as near the state.

    In single precision: for many sensors half the memory. Arguments as in ``drawn_chances``;
    ``name`` is what ``remember`` knows them by, and the estimate is taken from ``estimates`` where
    these are given.
    """
    how = {"horizons_km": horizons_km, **settings}
    shape = (1 + n_resamples, len(sensors), len(horizons_km))
    drawn = np.empty(shape, np.float32)
    if estimates is None:
        drawn[:1] = drawn_chances(model, sensors, in_view=in_view, n_resamples=0, **how)
    else:
        drawn[0] = estimates.at(horizons_km).chance
    signed = sign_of(sensors, settings["shares"]).notna().to_numpy()
    if signed.any():
        drawn[:, signed] = drawn_chances(
            model, sensors[signed], in_view=in_view[signed], n_resamples=n_resamples, **how
        )
    plain = np.flatnonzero(~signed)
    some = sensors.iloc[plain].reset_index(drop=True)
    near, view = near_state(some, in_view[plain])

    def make(places: np.ndarray) -> np.ndarray:
        some = drawn_chances(
            model, near.iloc[places], in_view=view[places], n_resamples=n_resamples, **how
        )
        odds = logit(np.clip(some, _TINY, 1 - _TINY))
        return (odds[1:] - odds[:1]).transpose(1, 0, 2).reshape(len(places), -1)

    asked = pd.DataFrame({"km": [str(horizons_km)] * len(near)})
    keys = spread_keys(near, view, settings["wear_readings"]) + np.uint64(3) * hashes(asked)
    away = remember(name, keys, make).reshape(len(plain), n_resamples, len(horizons_km))
    middle = logit(np.clip(drawn[0, plain], _TINY, MOST))
    for draw in range(n_resamples):  # one after another, for the memory
        drawn[1 + draw, plain] = expit(middle + away[:, draw])
    return drawn


def _at(widths: np.ndarray, horizons_km: np.ndarray) -> np.ndarray:
    """Widths at km ahead, straight between those of ``SPREAD_KM``."""
    grid = np.array(SPREAD_KM)
    cell = np.clip(np.searchsorted(grid, horizons_km, side="right") - 1, 0, len(grid) - 2)
    part = np.clip((horizons_km - grid[cell]) / np.diff(grid)[cell], 0.0, 1.0)
    return widths[:, cell] * (1 - part) + widths[:, cell + 1] * part
