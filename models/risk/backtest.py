"""How good the ranking and the chances would have been: fit before a date, score after it.

Pure functions: the caller makes the record as it stood on each date (the pipeline's marts with an
earlier ``as_of``), fits, scores, and hands over the scores with what came to light afterwards.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import logit, xlogy
from sklearn.linear_model import LogisticRegression

_TINY = 1e-9
#: Fewer defects found after the dates than this, and the result says that it is no proof.
FEWEST_FOUND = 20


@dataclass(frozen=True)
class Skill:
    """Scores of one way to rank and to state chances, over all dates of a backtest.

    ``top_tenth_share`` : share of the defects that stood in the first tenth of each date's list;
    ``found_over_expected`` : defects found over the sum of chances (1 is best); ``slope`` : of a
    logistic regression of findings on the log odds stated (1 is best, below 1 too extreme; blank
    where the chances do not differ). Brier and log-loss are means, smaller is better; blank for a
    ranking that states no chance.
    """

    name: str
    n_scored: int
    n_found: int
    top_tenth_share: float
    brier: float = np.nan
    log_loss: float = np.nan
    found_over_expected: float = np.nan
    slope: float = np.nan
    too_few: bool = False


def origins(first: pd.Timestamp, last: pd.Timestamp, *, every_days: int = 180) -> list:
    """Dates from which to look ahead, evenly spaced, oldest first, the last at least a step back.

    Raises
    ------
    ValueError
        ``every_days`` below 1.
    """
    if every_days < 1:
        raise ValueError(f"every_days is {every_days}, expected at least 1")
    steps = int((last - first) / pd.Timedelta(days=every_days))
    return [last - pd.Timedelta(days=every_days * k) for k in range(steps, 0, -1)]


def mileage_curve_chances(
    windows: pd.DataFrame, age_km: np.ndarray, ahead_km: np.ndarray | float
) -> np.ndarray:
    """Baseline: chance of a defect in the next km from one Weibull-like curve of age alone.

    Each life's rate of defect by tenth of the ages watched, findings put at the middle of their
    window; no part, duty, test or silence is used. Shape as ``age_km``.
    """
    known = windows["good_km"]
    if "contact_km" in windows:
        known = windows[["good_km", "contact_km"]].max(axis=1)
    end = windows["bad_km"].fillna(known).to_numpy(float)
    start = windows["entry_km"].to_numpy(float)
    found = windows["bad_km"].notna().to_numpy()
    at = np.where(found, (end + windows["good_km"].to_numpy(float)) / 2, end)
    edges = np.linspace(0.0, max(float(at.max(initial=1.0)), 1.0), 11)
    km = np.clip(
        np.minimum(at[:, None], edges[1:]) - np.maximum(start[:, None], edges[:-1]), 0, None
    )
    events = np.histogram(at[found], edges)[0]
    # one defect spread over the whole record keeps empty cells off nought
    rate = (events + 0.1) / (km.sum(axis=0) + edges[-1] / 10)
    knots = np.append(edges, edges[-1] * 100)
    total = np.concatenate([[0.0], np.cumsum(np.append(rate, rate[-1]) * np.diff(knots))])
    age = np.asarray(age_km, dtype=float)
    return -np.expm1(np.interp(age, knots, total) - np.interp(age + ahead_km, knots, total))


def skill(
    name: str,
    found: np.ndarray,
    chance: np.ndarray,
    origin: np.ndarray,
    *,
    states_chance: bool = True,
) -> Skill:
    """Score chances, or a mere ranking, against what was found after each origin.

    Parameters
    ----------
    name : str
        What is scored.
    found : array of bool, shape (n,)
        Whether a defect came to light within the time looked ahead.
    chance : array of shape (n,)
        Chance stated, 0 to 1, or any score whose order ranks the sensors.
    origin : array of shape (n,)
        The date each row belongs to; the first tenth is taken within each.
    states_chance : bool
        False for a ranking: Brier, log-loss and calibration stay blank.

    Raises
    ------
    ValueError
        A chance is blank, or outside 0 to 1 where chances are stated; or nothing was scored.
    """
    found, chance = np.asarray(found, dtype=bool), np.asarray(chance, dtype=float)
    if not len(found):
        raise ValueError(f"{name}: no sensor was scored")
    if np.isnan(chance).any():
        raise ValueError(f"{name}: a blank score at row {int(np.argmax(np.isnan(chance)))}")
    top = _top_tenth_share(found, chance, np.asarray(origin))
    counts = {"n_scored": len(found), "n_found": int(found.sum())}
    counts["too_few"] = counts["n_found"] < FEWEST_FOUND
    if not states_chance:
        return Skill(name, top_tenth_share=top, **counts)
    if chance.min() < 0 or chance.max() > 1:
        raise ValueError(
            f"{name}: chances from {chance.min():g} to {chance.max():g}, expected 0 to 1"
        )
    p = np.clip(chance, _TINY, 1 - _TINY)
    return Skill(
        name,
        top_tenth_share=top,
        brier=float(np.mean((chance - found) ** 2)),
        log_loss=float(-np.mean(xlogy(found, p) + xlogy(~found, 1 - p))),
        found_over_expected=float(found.sum() / max(chance.sum(), _TINY)),
        slope=_slope(found, p),
        **counts,
    )


def against_baselines(scored: pd.DataFrame) -> pd.DataFrame:
    """Ours beside the mileage-only curve and the plain rule *oldest first*.

    Parameters
    ----------
    scored : frame of shape (n, ...)
        One row a sensor and origin: ``origin``, ``found``, ``chance``, ``mileage_chance`` and
        ``age_km``.

    Returns
    -------
    frame of three rows in the fields of ``Skill``.
    """
    found, origin = scored["found"].to_numpy(bool), scored["origin"].to_numpy()
    rows = [
        skill("ours", found, scored["chance"].to_numpy(float), origin),
        skill("mileage only", found, scored["mileage_chance"].to_numpy(float), origin),
        skill("oldest first", found, scored["age_km"].to_numpy(float), origin, states_chance=False),
    ]
    return pd.DataFrame(rows)


def calibration(found: np.ndarray, chance: np.ndarray, group: np.ndarray) -> pd.DataFrame:
    """Found and expected defects by group, with the standard deviation of the number expected."""
    frame = pd.DataFrame(
        {"group": group, "found": np.asarray(found, dtype=float), "expected": chance}
    )
    frame["variance"] = frame["expected"] * (1 - frame["expected"])
    table = frame.groupby("group", sort=True, dropna=False).agg(
        n=("found", "size"),
        found=("found", "sum"),
        expected=("expected", "sum"),
        variance=("variance", "sum"),
    )
    return table.assign(sd=np.sqrt(table.pop("variance"))).reset_index()


def _top_tenth_share(found: np.ndarray, score: np.ndarray, origin: np.ndarray) -> float:
    """Equal scores share their places, so that ties neither help nor hurt."""
    if not found.any():
        return float("nan")
    hits = 0.0
    for one in pd.unique(origin):
        own = origin == one
        places = max(1, round(own.sum() / 10))
        ranked = np.sort(score[own])[::-1]
        bound = ranked[places - 1]
        above, tied = score[own] > bound, score[own] == bound
        share = (places - above.sum()) / tied.sum()
        hits += found[own][above].sum() + share * found[own][tied].sum()
    return float(hits / found.sum())


def _slope(found: np.ndarray, p: np.ndarray) -> float:
    """Slope of calibration (Cox, Biometrika 45 (1958) 562): logistic regression, no penalty."""
    x = logit(p)
    if found.all() or not found.any() or np.ptp(x) < _TINY:
        return float("nan")
    model = LogisticRegression(C=np.inf, solver="newton-cholesky", tol=1e-8)
    return float(model.fit(x[:, None], found).coef_[0, 0])
