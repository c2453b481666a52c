"""The few things that raise or lower one sensor's chance against the middle sensor of its part.

Each factor's share is its Shapley value (Shapley 1953; Strumbelj & Kononenko, J. Machine Learning
Research 11 (2010) 1): the mean change in the chance when the sensor's own value replaces the middle
one, over all orders in which the factors may be replaced. So the shares and the middle sensor's
chance add up to the chance given, whatever the factors do together.

The season is laid over last: its share is the change from a chance in which all km are run through
the year to the chance given. In all orders it would take twice the work, and it moves little.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Mapping
from functools import partial
from itertools import product
from math import factorial
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from models.risk.estimates import ESTIMATE_KM
from models.risk.explained_words import told_rows
from models.risk.factors import (
    COLUMNS,
    FACTORS,
    LAYERS,
    MIDDLE,
    Choice,
    last_scores,
    middle_values,
    near_middle,
    own_values,
    unsigned_layers,
)
from models.risk.now import HORIZONS_KM
from models.risk.past_tests import good_test_gaps
from models.risk.schemas import EXPLANATION, SENSORS_NOW
from models.risk.score import RiskResults
from models.risk.signs import sign_of, with_sign
from models.risk.spreads import Remember
from models.risk.states import DATES, hashes, near_state, spread_keys

#: Told beside them where the fit has learned of it.
SEASON = "season"
_TOLD = ("middle", *FACTORS, SEASON)
#: Sensors told in words at a time, for the memory.
_TOLD_AT_ONCE = 5_000
#: Shares are told in whole per cent, so that a coarser step than the intervals' will do.
_STEP = 0.5


def explain_risk(
    results: RiskResults,
    sensors_now: pd.DataFrame,
    *,
    horizon_km: float = 0.0,
    remember: Remember | None = None,
) -> pd.DataFrame:
    """Shares of each factor in each sensor's chance of a defect.

    The middle sensor of a part has the median age, km since its last good test and km since its
    last contact of the part's sensors in service (of all, where there are fewer than five), no
    duty, shop or km a day of its own, no earlier repair, no reading of its wear and no sign in its
    last test.

    Parameters
    ----------
    results : RiskResults
        What ``fit_and_score`` made of the same sensors.
    sensors_now : frame of shape (n, ...)
        Columns of ``SENSORS_NOW``.
    horizon_km : float
        0 for now, or one of ``HORIZONS_KM``.
    remember : callable, optional
        Shares are then worked out near each sensor's state (``models.risk.states``), what it
        remembers is not worked out again, and what is left to the chance is spread over the shares
        in proportion to their size.

    Returns
    -------
    frame in the columns of ``EXPLANATION``: for each sensor with a chance a row ``middle`` and one
    for each factor, the season where the fit has learned of it, the largest share first; ``change``
    adds up to the chance.

    Raises
    ------
    ValueError
        Another horizon.
    """
    if horizon_km not in HORIZONS_KM:
        raise ValueError(f"horizon_km is {horizon_km:g}, expected one of {HORIZONS_KM}")
    checked = SENSORS_NOW.check(sensors_now)
    known = checked["age_now_km"].notna().to_numpy()
    sensors = checked[known].reset_index(drop=True)
    if results.model is None or sensors.empty:
        return EXPLANATION.empty()
    in_view = results.settings["in_view"].reindex(sensors["sensor_id"]).to_numpy(float)
    readings = results.settings["wear_readings"]
    gaps = good_test_gaps(sensors, readings, results.settings["spacing_km"])
    score = last_scores(sensors, readings, results.settings["growth"])
    own = own_values(sensors, in_view).assign(score=score)
    middle = middle_values(sensors, in_view).assign(score=np.nan)
    at_work = _at_work(results, own, middle)
    # near a sensor's state what is left to the chance is spread, so that coarser cells will do
    asked = _Asked(results, ESTIMATE_KM if remember is None else HORIZONS_KM, horizon_km, at_work)
    if remember is None:
        changes = asked.changes(sensors, gaps, own, middle)
    else:
        changes = _near_changes(asked, sensors, in_view, gaps, middle, remember)
    told = _TOLD if results.model.n_season_ else _TOLD[:-1]
    parts = []
    for begin in range(0, len(sensors), _TOLD_AT_ONCE):
        some = slice(begin, begin + _TOLD_AT_ONCE)
        frames = (frame.iloc[some] for frame in (sensors, own, middle))
        parts.append(told_rows(*frames, changes[some], told))
    return EXPLANATION.check(pd.concat(parts, ignore_index=True))


class _Asked(NamedTuple):
    """Whose chance is explained, how many km ahead, and which factors change anything.

    ``km`` ahead, among them those, bound the cells that are summed over.
    """

    results: RiskResults
    km: tuple[float, ...]
    horizon_km: float
    at_work: tuple[bool, ...]

    def changes(
        self, sensors: pd.DataFrame, gaps_km: np.ndarray, own: pd.DataFrame, middle: pd.DataFrame
    ) -> np.ndarray:
        """The middle sensor's chance, the share of each factor and the season's, by sensor."""
        signs = sign_of(sensors, self.results.settings["shares"])
        return self.signed(self.unsigned(sensors, gaps_km, own, middle), signs)

    def unsigned(
        self, sensors: pd.DataFrame, gaps_km: np.ndarray, own: pd.DataFrame, middle: pd.DataFrame
    ) -> np.ndarray:
        """Log chances by all but a sign: of a sensor all that its changes hang on by itself.

        Shape (n, columns): ``LAYERS`` for each choice of ``others``; where the season counts, those
        of the last one dated too.
        """
        undated = sensors.assign(**dict.fromkeys(DATES, pd.NaT))
        rest = (gaps_km, own, middle, self.km, self.horizon_km)
        parts = [unsigned_layers(self.results, undated, *rest, self.others)]
        if self.results.model.n_season_:
            parts.append(unsigned_layers(self.results, sensors, *rest, [self.at_work[:-1]]))
        return np.hstack(parts)

    def signed(self, unsigned: np.ndarray, signs: pd.Series) -> np.ndarray:
        """``changes`` by what ``unsigned`` gives of sensors, all that show a sign among them."""
        by_choice = np.split(unsigned, unsigned.shape[1] // LAYERS, axis=1)
        layers = dict(zip(self.others, by_choice, strict=False))

        def chance(layer: np.ndarray, *, with_signs: bool) -> np.ndarray:
            return _signed(layer, signs if with_signs else None, self.results.settings)

        found = {
            chosen: chance(layers[chosen[:-1]], with_signs=chosen[-1]) for chosen in self.choices
        }
        every = list(product((False, True), repeat=len(FACTORS)))
        chances = {chosen: found[self._taken_for(chosen)] for chosen in every}
        shares = [_shapley(chances, k) for k in range(len(FACTORS))]
        season = np.zeros(len(unsigned))
        if len(by_choice) > len(layers):
            dated = chance(by_choice[-1], with_signs=self.at_work[-1])
            season = dated - chances[every[-1]]
        return np.column_stack([chances[every[0]], *shares, season])

    @property
    def choices(self) -> list[Choice]:
        """Choices that differ in their chance: factors not at work are taken for not chosen."""
        every = product((False, True), repeat=len(FACTORS))
        return sorted({self._taken_for(chosen) for chosen in every})

    @property
    def others(self) -> list[tuple[bool, ...]]:
        """The same, the sign left out."""
        return sorted({chosen[:-1] for chosen in self.choices})

    def _taken_for(self, chosen: Choice) -> Choice:
        return tuple(map(operator.and_, chosen, self.at_work))


def _near_changes(
    asked: _Asked,
    sensors: pd.DataFrame,
    in_view: np.ndarray,
    gaps_km: np.ndarray,
    middle: pd.DataFrame,
    remember: Remember,
) -> np.ndarray:
    """Changes near each sensor's state, carried to its chance.

    Of those with a sign what is known without it is remembered, and the signs are laid over.
    """
    signs = sign_of(sensors, asked.results.settings["shares"])
    # a bike's last contact counts with the chance that it is in view, and with it alone
    near, view = near_state(sensors, in_view, _STEP)
    of_middle = near_middle(middle, _STEP)
    frames = (near, own_values(near, view), of_middle)
    keys = _near_keys(asked, near, view, of_middle)
    result = np.full((len(sensors), len(_TOLD)), np.nan)
    plain, signed = (np.flatnonzero(each) for each in (signs.isna(), signs.notna()))
    if len(plain):
        make = partial(_made, asked.changes, frames, gaps_km, plain)
        result[plain] = remember("explained", keys[plain], make)
    if len(signed):
        make = partial(_made, asked.unsigned, frames, gaps_km, signed)
        unsigned = remember("explained_unsigned", keys[signed], make).astype(float)
        result[signed] = asked.signed(unsigned, signs.iloc[signed].reset_index(drop=True))
    return _carried(result, _chance(asked, sensors))


def _near_keys(
    asked: _Asked, near: pd.DataFrame, in_view: np.ndarray, middle: pd.DataFrame
) -> np.ndarray:
    """Digests of all that the changes near a state hang on but the fit, shape (n, 2)."""
    told = middle[list(MIDDLE)].assign(
        asked=f"{asked.horizon_km}/{asked.at_work}", test_km=near["last_test_km"]
    )
    keys = spread_keys(near, in_view, asked.results.settings["wear_readings"])
    return keys + np.uint64(3) * hashes(told)


def _made(
    work_out: Callable[..., np.ndarray],
    frames: tuple[pd.DataFrame, ...],
    gaps_km: np.ndarray,
    members: np.ndarray,
    places: np.ndarray,
) -> np.ndarray:
    """What is worked out of those members that stand at ``places`` among them."""
    some = members[places]
    state, own, middle = (frame.iloc[some].reset_index(drop=True) for frame in frames)
    return work_out(state, gaps_km[some], own, middle)


def _chance(asked: _Asked, sensors: pd.DataFrame) -> np.ndarray:
    """What is to be explained."""
    named = f"defect_{asked.horizon_km:.0f}_km" if asked.horizon_km else "defect_now"
    risk = asked.results.defect_risk.set_index("sensor_id")[named]
    return risk.reindex(sensors["sensor_id"]).to_numpy(float)


def _carried(changes: np.ndarray, chance: np.ndarray) -> np.ndarray:
    """The same with what is left to the chance spread over the shares by their size."""
    left = chance - changes.sum(axis=1)
    size = np.abs(changes[:, 1:])
    total = size.sum(axis=1)
    some = total > 0
    carried = changes.copy()
    carried[some, 1:] += (left[some] / total[some])[:, None] * size[some]
    carried[~some, 0] += left[~some]
    return carried


def _at_work(results: RiskResults, own: pd.DataFrame, middle: pd.DataFrame) -> tuple[bool, ...]:
    """Which factors change anything: of no other one need a chance be worked out twice."""
    same = own.eq(middle) | (own.isna() & middle.isna())
    known = {
        "reading": results.settings["growth"] is not None,
        "sign": bool(sign_of(own, results.settings["shares"]).notna().any()),
    }
    return tuple(
        known.get(name, not bool(same[list(COLUMNS.get(name, ()))].all(axis=None)))
        for name in FACTORS
    )


def _signed(
    unsigned: np.ndarray, signs: pd.Series | None, settings: Mapping[str, Any]
) -> np.ndarray:
    """Chance of each sensor by the three of one choice, under its sign where signs count."""
    log_ok, silence = unsigned[:, :2].copy(), unsigned[:, 2]
    for name in [] if signs is None else sorted(set(signs.dropna())):
        members, q = np.flatnonzero(signs == name), np.array([settings["shares"][name].mean])
        log_ok[members] = with_sign(log_ok[None, members], q, silence[None, members])[0]
    return -np.expm1(np.minimum(log_ok[:, 1], 0.0))


def _shapley(chances: dict[Choice, np.ndarray], k: int) -> np.ndarray:
    """Mean change by factor k over all orders: weight |S|! (n - |S| - 1)! / n!."""
    n, total = len(FACTORS), 0.0
    for chosen, without in chances.items():
        if not chosen[k]:
            size = sum(chosen)
            share = factorial(size) * factorial(n - size - 1) / factorial(n)
            total = total + share * (chances[(*chosen[:k], True, *chosen[k + 1 :])] - without)
    return np.asarray(total)
