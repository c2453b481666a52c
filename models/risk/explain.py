"""The few things that raise or lower one sensor's chance against the middle sensor of its part.

Each factor's share is its Shapley value (Shapley 1953; Strumbelj & Kononenko, J. Machine Learning
Research 11 (2010) 1): the mean change in the chance when the sensor's own value replaces the middle
one, over all orders in which the factors may be replaced. So the shares and the middle sensor's
chance add up to the chance given, whatever the factors do together.
"""

from __future__ import annotations

import operator
from collections.abc import Callable
from functools import partial
from itertools import product
from math import factorial
from typing import Any

import numpy as np
import pandas as pd
from scipy.stats import norm

from models.risk.growth import WearGrowth
from models.risk.now import HORIZONS_KM, defect_chances, good_test_gaps, sign_of
from models.risk.schemas import EXPLANATION, SENSORS_NOW
from models.risk.score import RiskResults

FACTORS = ("age", "riding", "repair", "test", "silence", "reading", "sign")
_FEWEST_OF_PART = 5
_SIGN_WORDS = {"fail": "failed", "suspect": "was suspect", "dropouts_seen": "showed drop-outs"}


def explain_risk(
    results: RiskResults, sensors_now: pd.DataFrame, *, horizon_km: float = 0.0
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

    Returns
    -------
    frame in the columns of ``EXPLANATION``: for each sensor with a chance a row ``middle`` and one
    for each factor, the largest share first; ``change`` adds up to the chance.

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
    chance = partial(_chance, results, sensors, gaps, own, middle, horizon_km=horizon_km)
    chances = _over_choices(chance, _at_work(results, own, middle))
    changes = {name: _shapley(chances, k) for k, name in enumerate(FACTORS)}
    rows = [_rows(sensors, name, change, own, middle) for name, change in changes.items()]
    first = _rows(sensors, "middle", chances[(False,) * len(FACTORS)], own, middle)
    return EXPLANATION.check(_in_order(first, pd.concat(rows)))


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


def _over_choices(
    chance: Callable[[tuple[bool, ...]], np.ndarray], at_work: tuple[bool, ...]
) -> dict[tuple[bool, ...], np.ndarray]:
    """The chance for every choice of factors; those not at work are taken for not chosen."""
    found: dict[tuple[bool, ...], np.ndarray] = {}
    every = {}
    for chosen in product((False, True), repeat=len(FACTORS)):
        key = tuple(map(operator.and_, chosen, at_work))
        if key not in found:
            found[key] = chance(key)
        every[chosen] = found[key]
    return every


def _chance(
    results: RiskResults,
    sensors: pd.DataFrame,
    gaps_km: np.ndarray,
    own: pd.DataFrame,
    middle: pd.DataFrame,
    chosen: tuple[bool, ...],
    *,
    horizon_km: float,
) -> np.ndarray:
    """Chance with the chosen factors at the sensor's own values, the others at the middle ones."""
    whole = dict(zip(FACTORS, chosen, strict=True))
    mixed = pd.DataFrame(
        {
            column: (own if whole[name] else middle)[column]
            for name, columns in _COLUMNS.items()
            for column in columns
        }
    )
    age = mixed["age_now_km"]
    entry = (age - mixed["since_entry"]).clip(lower=0.0)
    taken = ("age_now_km", "age_known", *_COLUMNS["riding"], "repaired", "earlier_repairs")
    frame = sensors.assign(
        **{name: mixed[name] for name in taken},
        last_verdict=mixed["last_verdict"],
        last_conclusion=mixed["last_conclusion"],
        entry_km=entry,
        good_km=(age - mixed["since_test"]).clip(lower=entry),
        contact_km=(age - mixed["since_contact"]).clip(lower=entry),
        last_test_km=age - mixed["since_last_test"],
    )
    settings: dict[str, Any] = results.settings | {
        "in_view": mixed["in_view"].to_numpy(float),
        "gaps_km": gaps_km,
        "moved_km": (age - own["age_now_km"]).to_numpy(float),
        "growth": results.settings["growth"] if whole["reading"] else None,
    }
    found = defect_chances(results.model, frame, n_resamples=0, **settings).chance
    return found[:, HORIZONS_KM.index(horizon_km)]


def _shapley(chances: dict[tuple[bool, ...], np.ndarray], k: int) -> np.ndarray:
    """Mean change by factor k over all orders: weight |S|! (n - |S| - 1)! / n!."""
    n, total = len(FACTORS), 0.0
    for chosen, without in chances.items():
        if not chosen[k]:
            size = sum(chosen)
            share = factorial(size) * factorial(n - size - 1) / factorial(n)
            total = total + share * (chances[(*chosen[:k], True, *chosen[k + 1 :])] - without)
    return np.asarray(total)


def _rows(
    sensors: pd.DataFrame, name: str, change: np.ndarray, own: pd.DataFrame, middle: pd.DataFrame
) -> pd.DataFrame:
    values = (own.to_dict("records"), middle.to_dict("records"), sensors["part_no"])
    return pd.DataFrame(
        {
            "sensor_id": sensors["sensor_id"],
            "factor": name,
            "change": change,
            "words": [_words(name, *row) for row in zip(*values, strict=True)],
        }
    )


def _in_order(first: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    """By sensor as handed in: the middle, then the factors, the largest share first."""
    place = pd.Series(range(len(first)), first["sensor_id"])
    table = pd.concat([first, rows], ignore_index=True)
    keys = {
        "place": table["sensor_id"].map(place),
        "later": table["factor"].ne("middle"),
        "size": -table["change"].abs(),
    }
    ordered = table.assign(**keys).sort_values(list(keys), kind="stable")
    return ordered.drop(columns=list(keys)).reset_index(drop=True)


def _words(name: str, own: dict, middle: dict, part_no: str) -> str:
    if name == "middle":
        return f"a middling sensor of part {part_no}: {_km(middle['age_now_km'])} old"
    if name == "age":
        seen = "" if own["age_known"] else " since it was first seen, its age before not known"
        return f"{_km(own['age_now_km'])} run{seen}, {_km(middle['age_now_km'])} being the middle"
    if name == "riding":
        return _riding_words(own)
    if name == "repair":
        return _repair_words(own)
    if name == "test":
        if pd.isna(own["since_test"]):
            return "no test has found it without the defect"
        return f"last good test {_km(own['since_test'])} ago, {_km(middle['since_test'])} usual"
    if name == "silence":
        if pd.isna(own["since_contact"]):
            return "not known until when nothing was heard of it"
        return f"last odometer reading or other contact {_km(own['since_contact'])} ago"
    if name == "reading":
        return _reading_words(own["score"])
    return _sign_words(own)


def _sign_words(own: dict) -> str:
    signs = [_SIGN_WORDS.get(own[k]) for k in ("last_verdict", "last_conclusion")]
    said = " and ".join(word for word in signs if word)
    if not said:
        return "no sign of a defect in its last test"
    worn = pd.notna(own["last_band"]) and own["last_band"]
    return f"last test {said}{', with a worn band in its sweep' if worn else ''}"


def _riding_words(own: dict) -> str:
    known = [
        "duty not known" if pd.isna(own["duty"]) else f"duty {own['duty']}",
        "" if pd.isna(own["km_per_day"]) else f"{own['km_per_day']:,.0f} km a day",
        "" if pd.isna(own["shop_id"]) else f"shop {own['shop_id']}",
    ]
    return ", ".join(words for words in known if words)


def _repair_words(own: dict) -> str:
    said = "cleaned after a fault" if own["repaired"] else "not cleaned before"
    count = 0 if pd.isna(own["earlier_repairs"]) else int(own["earlier_repairs"])
    if not count:
        return said
    return f"{said}, {count} other repair{'' if count == 1 else 's'} at this sensor before"


def _reading_words(score: float) -> str:
    if pd.isna(score):
        return "no sweep that tells its roughness, or too few on record to learn from"
    rougher = int(np.clip(np.floor(100 * norm.cdf(score)), 1, 99))
    return f"its sweeps and checks, the last sweep rougher than {rougher} in 100 of all sweeps"


def _km(value: float) -> str:
    return "unknown km" if pd.isna(value) else f"{max(value, 0.0):,.0f} km"
