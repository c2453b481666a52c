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
from itertools import product
from math import factorial
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from models.risk.estimates import ESTIMATE_KM
from models.risk.explained_words import told_rows
from models.risk.growth import WearGrowth
from models.risk.now import HORIZONS_KM, unsigned_chances
from models.risk.past_tests import good_test_gaps
from models.risk.schemas import EXPLANATION, SENSORS_NOW
from models.risk.score import RiskResults
from models.risk.signs import sign_of, with_sign
from models.risk.spreads import Remember
from models.risk.states import hashes, near_km, near_state, near_view, spread_keys

FACTORS = ("age", "riding", "repair", "test", "silence", "reading", "sign")
#: Told beside them where the fit has learned of it.
SEASON = "season"
#: Which factors are at a sensor's own values, in the order of FACTORS; the sign stands last.
Choice = tuple[bool, ...]
_READING = FACTORS.index("reading")
_TOLD = ("middle", *FACTORS, SEASON)
#: Log chances that are kept of a sensor and a choice, see ``_Asked.unsigned``.
_LAYERS = 3
#: Rows worked out at a time, a row being one sensor under one choice of factors.
_ROWS_AT_ONCE = 20_000
#: Sensors told in words at a time, for the memory.
_TOLD_AT_ONCE = 5_000
_FEWEST_OF_PART = 5
#: Shares are told in whole per cent, so that a coarser step than the intervals' will do.
_STEP = 0.5
_MIDDLE_KM = ("age_now_km", "since_test", "since_contact")
_DATES = ("entry_on", "good_on", "now_on")


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
        Shares are then worked out near each sensor's state (``models.risk.spreads``), what it
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
    score = _last_scores(sensors, readings, results.settings["growth"])
    own = _values(sensors, in_view).assign(score=score)
    middle = _middle_values(sensors, in_view).assign(score=np.nan)
    at_work = _at_work(results, own, middle)
    # near a sensor's state what is left to the chance is spread, so that coarser cells will do
    asked = _Asked(results, ESTIMATE_KM if remember is None else HORIZONS_KM, horizon_km, at_work)
    if remember is None:
        changes = asked.changes(sensors, gaps, own, middle)
    else:
        changes = _near_changes(asked, sensors, in_view, gaps, own, middle, remember)
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
        """The middle sensor's chance and the share of each factor, shape (n, 1 + factors)."""
        signs = sign_of(sensors, self.results.settings["shares"])
        return self.signed(self.unsigned(sensors, gaps_km, own, middle), signs)

    def unsigned(
        self, sensors: pd.DataFrame, gaps_km: np.ndarray, own: pd.DataFrame, middle: pd.DataFrame
    ) -> np.ndarray:
        """Log chances by all but a sign: of a sensor all that its changes hang on by itself.

        Shape (n, columns): no defect now, none over the km ahead and the silence since the last
        test, for each choice of ``others``; where the season counts, those of the last dated too.
        """
        undated = sensors.assign(**dict.fromkeys(_DATES, pd.NaT))
        rest = (gaps_km, own, middle, self.km, self.horizon_km)
        parts = [_unsigned(self.results, undated, *rest, self.others)]
        if self.results.model.calendar(sensors) is not None:
            parts.append(_unsigned(self.results, sensors, *rest, [self.at_work[:-1]]))
        return np.hstack(parts)

    def signed(self, unsigned: np.ndarray, signs: pd.Series) -> np.ndarray:
        """``changes`` by what ``unsigned`` gives of sensors, all that show a sign among them."""
        by_choice = np.split(unsigned, unsigned.shape[1] // _LAYERS, axis=1)
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
    own: pd.DataFrame,
    middle: pd.DataFrame,
    remember: Remember,
) -> np.ndarray:
    """Changes near each sensor's state, carried to its chance.

    Of those with a sign what is known without it is remembered, and the signs are laid over.
    """
    signs = sign_of(sensors, asked.results.settings["shares"])
    near, view = near_state(sensors, in_view, _STEP)
    of_own, of_middle = _values(near, view), _near_middle(middle, near)
    told = of_middle[["age_now_km", "since_test", "since_contact", "in_view"]]
    told = told.assign(asked=f"{asked.horizon_km}/{asked.at_work}", test_km=near["last_test_km"])
    keys = spread_keys(near, view, asked.results.settings["wear_readings"])
    keys += np.uint64(3) * hashes(told)

    def near_by(name: str, members: np.ndarray, work_out: Callable[..., np.ndarray]) -> np.ndarray:
        def make(places: np.ndarray) -> np.ndarray:
            some = members[places]
            frames = (f.iloc[some].reset_index(drop=True) for f in (near, of_own, of_middle))
            state, theirs, middles = frames
            return work_out(state, gaps_km[some], theirs, middles)

        return remember(name, keys[members], make)

    result = np.full((len(sensors), len(_TOLD)), np.nan)
    plain, signed = (np.flatnonzero(each) for each in (signs.isna(), signs.notna()))
    result[plain] = near_by("explained", plain, asked.changes)
    if len(signed):
        unsigned = near_by("explained_unsigned", signed, asked.unsigned)
        result[signed] = asked.signed(unsigned, signs.iloc[signed].reset_index(drop=True))
    return _carried(result, _chance(asked, sensors))


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


def _near_middle(middle: pd.DataFrame, near: pd.DataFrame) -> pd.DataFrame:
    return middle.assign(
        **{name: near_km(middle[name], _STEP) for name in _MIDDLE_KM},
        in_view=near_view(middle["in_view"]),
        last_band=near["last_band"],
    )


def _last_scores(
    sensors: pd.DataFrame, readings: pd.DataFrame | None, growth: WearGrowth | None
) -> np.ndarray:
    if readings is None or growth is None:
        return np.full(len(sensors), np.nan)
    return growth.last_scores(sensors, readings)


def _values(sensors: pd.DataFrame, in_view: np.ndarray) -> pd.DataFrame:
    """What each factor holds, ages put as km before now, so that they can be exchanged singly."""
    age = sensors["age_now_km"]
    return pd.DataFrame(
        {
            "age_now_km": age,
            "age_known": sensors["age_known"],
            "duty": sensors["duty"],
            "shop_id": sensors["shop_id"],
            "km_per_day": sensors["km_per_day"],
            "earlier_repairs": sensors["earlier_repairs"],
            "repaired": sensors["repaired"],
            "since_entry": age - sensors["entry_km"],
            "since_test": age - sensors["good_km"],
            "since_contact": age - sensors["contact_km"],
            "in_view": in_view,
            "since_last_test": age - sensors["last_test_km"],
            "last_verdict": sensors["last_verdict"],
            "last_conclusion": sensors["last_conclusion"],
            "last_band": sensors["last_band"],
            "now_on": sensors["now_on"],
        }
    )


def _middle_values(sensors: pd.DataFrame, in_view: np.ndarray) -> pd.DataFrame:
    values = _values(sensors, in_view)
    part = sensors["part_no"]
    middle = values.copy()
    many = part.map(part.value_counts()).ge(_FEWEST_OF_PART)
    for name in ("age_now_km", "since_test", "since_contact", "in_view"):
        of_all = values[name].median()
        of_part = values.groupby(part)[name].transform("median")
        middle[name] = of_part.where(many, of_all).fillna(of_all)
    return middle.assign(
        age_known=True,
        duty=None,
        shop_id=None,
        km_per_day=np.nan,
        earlier_repairs=0,
        repaired=False,
        since_entry=np.inf,
        since_last_test=np.nan,
        last_verdict=None,
        last_conclusion=None,
    )


_COLUMNS = {
    "age": ("age_now_km", "age_known"),
    "riding": ("duty", "shop_id", "km_per_day"),
    "repair": ("repaired", "since_entry", "earlier_repairs"),
    "test": ("since_test",),
    "silence": ("since_contact", "in_view"),
    "sign": ("since_last_test", "last_verdict", "last_conclusion"),
}


def _at_work(results: RiskResults, own: pd.DataFrame, middle: pd.DataFrame) -> tuple[bool, ...]:
    """Which factors change anything: of no other one need a chance be worked out twice."""
    same = own.eq(middle) | (own.isna() & middle.isna())
    known = {
        "reading": results.settings["growth"] is not None,
        "sign": bool(sign_of(own, results.settings["shares"]).notna().any()),
    }
    return tuple(
        known.get(name, not bool(same[list(_COLUMNS.get(name, ()))].all(axis=None)))
        for name in FACTORS
    )


def _unsigned(
    results: RiskResults,
    sensors: pd.DataFrame,
    gaps_km: np.ndarray,
    own: pd.DataFrame,
    middle: pd.DataFrame,
    km: tuple[float, ...],
    horizon_km: float,
    choices: list[tuple[bool, ...]],
) -> np.ndarray:
    """Log chances with the chosen factors at each sensor's own values, others at the middle ones.

    As ``_Asked.unsigned`` lays them out; many choices are worked out at a time.
    """
    size = max(1, _ROWS_AT_ONCE // len(choices))
    parts: dict[tuple[bool, ...], list[np.ndarray]] = {key: [] for key in choices}
    ahead = km.index(horizon_km)
    for start in range(0, len(sensors), size):
        some = slice(start, start + size)
        rows = (frame.iloc[some].reset_index(drop=True) for frame in (sensors, own, middle))
        block = _Block(results, *rows, gaps_km[some], km, ahead)
        for read in (False, True):
            block.work_out([key for key in choices if key[_READING] == read], parts)
    return np.hstack([np.vstack(part) for part in parts.values()])


def _signed(
    unsigned: np.ndarray, signs: pd.Series | None, settings: Mapping[str, Any]
) -> np.ndarray:
    """Chance of each sensor by the three of one choice, under its sign where signs count."""
    log_ok, silence = unsigned[:, :2].copy(), unsigned[:, 2]
    for name in [] if signs is None else sorted(set(signs.dropna())):
        members, q = np.flatnonzero(signs == name), np.array([settings["shares"][name].mean])
        log_ok[members] = with_sign(log_ok[None, members], q, silence[None, members])[0]
    return -np.expm1(np.minimum(log_ok[:, 1], 0.0))


class _Block(NamedTuple):
    """Some sensors, their own values and the middle ones, one a row."""

    results: RiskResults
    sensors: pd.DataFrame
    own: pd.DataFrame
    middle: pd.DataFrame
    gaps_km: np.ndarray
    km: tuple[float, ...]
    ahead: int

    def work_out(
        self, choices: list[tuple[bool, ...]], parts: dict[tuple[bool, ...], list[np.ndarray]]
    ) -> None:
        """Append to ``parts`` the log chances for each choice of factors, a sign left out.

        All choices leave the reading out, or none does.
        """
        if not choices:
            return
        frame, moved_km, in_view = self._under(choices)
        settings = self.results.settings
        log_ok, silence = unsigned_chances(
            self.results.model,
            frame,
            horizons_km=self.km,
            sensitivity=settings["sensitivity"],
            in_view=in_view,
            wear_readings=settings["wear_readings"],
            growth=settings["growth"] if choices[0][_READING] else None,
            moved_km=moved_km,
            gaps_km=np.tile(self.gaps_km, (len(choices), 1)),
        )
        layers = np.column_stack([log_ok[:, 0], log_ok[:, self.ahead], silence])
        for chosen, layer in zip(choices, np.split(layers, len(choices)), strict=True):
            parts[chosen].append(layer)

    def _under(self, choices: list[Choice]) -> tuple[pd.DataFrame, np.ndarray, np.ndarray]:
        """The sensors under one choice after another.

        With them by how much their ages are moved, and ``in_view``.
        """
        n, chosen = len(self.sensors), np.array(choices)
        every = np.tile(np.arange(n), len(choices))
        mixed = {}
        for name, columns in _COLUMNS.items():
            # a sign is laid over later: its test is the sensor's own
            own = chosen[:, FACTORS.index(name)] if name != "sign" else np.ones(len(choices), bool)
            place = every + n * np.repeat(own, n)
            for column in columns:
                both = pd.concat([self.middle[column], self.own[column]], ignore_index=True)
                mixed[column] = both.take(place).reset_index(drop=True)
        age = mixed["age_now_km"]
        entry = (age - mixed["since_entry"]).clip(lower=0.0)
        taken = ("age_now_km", "age_known", *_COLUMNS["riding"], "repaired", "earlier_repairs")
        frame = self.sensors.take(every).reset_index(drop=True)
        frame = frame.assign(
            **{name: mixed[name] for name in taken},
            entry_km=entry,
            good_km=(age - mixed["since_test"]).clip(lower=entry),
            contact_km=(age - mixed["since_contact"]).clip(lower=entry),
            last_test_km=age - mixed["since_last_test"],
        )
        moved_km = age.to_numpy(float) - self.own["age_now_km"].to_numpy(float)[every]
        return frame, moved_km, mixed["in_view"].to_numpy(float)


def _shapley(chances: dict[Choice, np.ndarray], k: int) -> np.ndarray:
    """Mean change by factor k over all orders: weight |S|! (n - |S| - 1)! / n!."""
    n, total = len(FACTORS), 0.0
    for chosen, without in chances.items():
        if not chosen[k]:
            size = sum(chosen)
            share = factorial(size) * factorial(n - size - 1) / factorial(n)
            total = total + share * (chances[(*chosen[:k], True, *chosen[k + 1 :])] - without)
    return np.asarray(total)
