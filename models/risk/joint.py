"""Learn how readings grow towards the defect from lives whose defect is only known about."""

from __future__ import annotations

import numpy as np
import pandas as pd

from models.risk.assumed import TEST_SENSITIVITY, BetaPrior
from models.risk.cells import cells_in_service, cells_of_found, survivor_shares
from models.risk.complaints import complaints_of, drawn_lives, learned_complaint_rates
from models.risk.growth import WearGrowth
from models.risk.hazard import DefectHazard
from models.risk.lives import checked_lives, found_on_entry, last_known
from models.risk.past_tests import good_test_gaps

#: Lives at most that the course of readings is learned from: with a defect, and without.
MOST_WITH, MOST_WITHOUT = 300, 300
#: Ages that stand for where the defect of one life may lie.
_PLACES = 16
#: The endless last cell is taken to end at so many times its beginning.
_FAR = 2.0


def fit_growth(
    model: DefectHazard,
    windows: pd.DataFrame,
    wear_readings: pd.DataFrame,
    *,
    sensitivity: BetaPrior = TEST_SENSITIVITY,
    spacing_km: float,
    seed: int = 0,
) -> WearGrowth:
    """Constants of wear, the place of each life's defect weighed by all but its readings.

    Parameters
    ----------
    model : DefectHazard
        Fitted to the same lives.
    windows : frame of shape (lives, ...)
        Columns of ``LIFE_WINDOWS``. Of those of known age with readings so many are drawn.
    wear_readings : frame of shape (tests, ...)
        Columns of ``WEAR_READINGS``.
    sensitivity : BetaPrior
        Share of defective sensors in which a test finds the defect; its mean is used.
    spacing_km : float
        Usual distance between two tests, km, where none is on record.
    seed : int
        Of the draw.
    """
    lives = _drawn(checked_lives(windows), wear_readings, seed)
    found = lives["bad_km"].notna().to_numpy()
    s = np.array([sensitivity.mean])
    rate = None if model.delay_ is None else np.array([model.delay_.rate_per_km])
    parts = []
    for some, with_defect in ((lives[found], True), (lives[~found], False)):
        if len(some):
            gaps = good_test_gaps(some, wear_readings, spacing_km)
            parts.append(defect_places(model, some, gaps, s, rate, with_defect))
    none = np.zeros((0, _PLACES))
    return WearGrowth().fit(
        pd.concat([lives[found], lives[~found]], ignore_index=True),
        wear_readings=wear_readings,
        defect_km=np.vstack([none, *(place for place, _ in parts)]),
        log_chance=np.vstack([none, *(chance for _, chance in parts)]),
    )


def fit_complaint_rates(
    model: DefectHazard,
    growth: WearGrowth,
    windows: pd.DataFrame,
    wear_readings: pd.DataFrame,
    *,
    sensitivity: BetaPrior = TEST_SENSITIVITY,
    spacing_km: float,
    seed: int = 0,
) -> np.ndarray | None:
    """Rates of complaints whose test passes (``models.risk.complaints``); None where not known.

    The place of each life's defect is weighed by its readings too. Arguments as in ``fit_growth``.
    """
    if wear_readings["prompted"].isna().all():
        return None
    lives, weight = drawn_lives(checked_lives(windows), seed=seed)
    found = lives["bad_km"].notna().to_numpy()
    s = np.array([sensitivity.mean])
    rate = None if model.delay_ is None else np.array([model.delay_.rate_per_km])
    defect_km, log_chance = np.zeros((2, len(lives), _PLACES))
    for some, with_defect in ((found, True), (~found, False)):
        if some.any():
            gaps = good_test_gaps(lives[some], wear_readings, spacing_km)
            places = defect_places(model, lives[some], gaps, s, rate, with_defect)
            defect_km[some], log_chance[some] = places
    readings = growth.life_readings(lives, wear_readings)
    log_chance += growth.log_likelihood(readings, defect_km[:, :, None])[..., 0]
    complaints = complaints_of(lives, wear_readings)
    return learned_complaint_rates(complaints, defect_km, log_chance, weight)


def _drawn(lives: pd.DataFrame, wear_readings: pd.DataFrame, seed: int) -> pd.DataFrame:
    read = wear_readings.loc[wear_readings["roughness_pct"].notna(), "life_id"].value_counts()
    lives = lives[lives["age_known"].astype(bool) & ~found_on_entry(lives)]
    lives = lives[lives["life_id"].isin(read.index)]
    # a life split by an open doubt stands once, as what it more likely is
    lives = lives.sort_values("times", ascending=False, kind="stable")
    lives = lives.drop_duplicates("life_id").sort_index()
    rng = np.random.default_rng(seed)
    kept = []
    for some, most in (
        (lives["bad_km"].notna(), MOST_WITH),
        (lives["bad_km"].isna(), MOST_WITHOUT),
    ):
        members = np.flatnonzero(some)
        kept.append(rng.choice(members, min(most, len(members)), replace=False))
    return lives.iloc[np.sort(np.concatenate(kept))].reset_index(drop=True)


def defect_places(
    model: DefectHazard,
    lives: pd.DataFrame,
    gaps_km: np.ndarray,
    s: np.ndarray,
    rate: np.ndarray | None,
    with_defect: bool,
) -> tuple[np.ndarray, np.ndarray]:
    """Ages at which each defect may lie, and the log chance of each by all but readings."""
    if with_defect:
        cells = cells_of_found(lives, gaps_km, s, rate)
    else:
        until = lives.assign(age_now_km=last_known(lives))
        cells = cells_in_service(until, gaps_km, s, rate, np.array([0.0, 1_000.0, 5_000.0]))
    at = model.predict_cumulative_hazard(lives, cells.edges[:, :, None], model.coef_[None, :])
    chance = (survivor_shares(at, lives)[..., 0] * cells.weight)[0]
    return _quantiles(cells.edges, chance)


def _quantiles(edges: np.ndarray, chance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """A few ages that stand for each life's distribution, closer where the defect comes early.

    A survivor's readings tell most of the ages soon ahead, so the levels are squares.
    """
    bounds = (np.arange(_PLACES + 1) / _PLACES) ** 2
    middles, log_weight = (bounds[1:] + bounds[:-1]) / 2, np.log(np.diff(bounds))
    total = np.cumsum(chance, axis=1)
    total = np.hstack([np.zeros((len(total), 1)), total / total[:, -1:]])
    ages = np.array(
        [
            np.interp(middles, row, np.minimum(edge, _FAR * edge[-2]))
            for row, edge in zip(total, edges, strict=True)
        ]
    )
    return ages.reshape(len(chance), _PLACES), np.tile(log_weight, (len(chance), 1))
