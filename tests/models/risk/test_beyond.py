"""The hazard fitted given what tests measured: by enumeration, and where readings decide."""

import numpy as np
import pandas as pd
import pytest

from models.risk.assumed import GammaPrior
from models.risk.beyond import Beyond
from models.risk.hazard import DefectHazard
from models.risk.lives import checked_lives, rows_of
from tests.models.risk.published_lives import lives
from tests.models.risk.simulated_fleet import with_contact


class Told:
    """Evidence given by a function of life, age at the defect and the life's age at the end."""

    def __init__(self, of):
        self.of = of

    def log_likelihood(self, lives, life, defect_km, shift_km):
        return self.of(lives.iloc[life], defect_km - shift_km)


def test_the_average_over_what_lies_ahead_is_that_by_the_hazard():
    """One life without a defect at 30,000 km, a constant hazard, evidence for a defect soon."""
    seen = checked_lives(lives([0.0], [30_000.0], [np.nan]).assign(contact_km=30_000.0))
    rows = rows_of(seen, np.zeros(1))
    evidence = Told(lambda life, at: np.where(at < 40_000, 1.0, -1.0))
    beyond = Beyond(seen, rows, np.zeros(1, int), evidence)
    records = beyond.lay(np.linspace(0, 200_000, 41))
    hazard = np.full(len(records.pair_cell), 1 / 50_000)
    # stretches that end by 40,000 km, as looked at in their middles: to 30,000 x 1.35 km
    soon = 1 - np.exp(-(0.35 * 30_000) / 50_000)
    expected = np.log(soon * np.exp(0.0) + (1 - soon) * np.exp(-2.0))
    assert beyond.factor(hazard)[0] == pytest.approx(expected)
    later = beyond.expect(hazard, np.array([2.0]))
    assert later.events.sum() <= 2.0
    shares = beyond.records.shares(hazard)[0]
    assert shares.sum() == pytest.approx(1.0)
    assert shares[:3].sum() > soon


def test_tests_that_say_nothing_leave_the_fit_where_it_was():
    windows, _ = with_contact(300, 5)
    plain = DefectHazard(tol=1e-6).fit(windows)
    coef, delay = plain.coef_.copy(), plain.delay_.mean_km
    again = plain.fit(windows, evidence=Told(lambda life, at: np.zeros(len(at))))
    assert again.coef_ == pytest.approx(coef, abs=5e-3)
    assert again.delay_.mean_km == pytest.approx(delay, rel=0.01)


def removed_when_rough(seed: int, bikes: int = 1_500):
    """Sensors read at every 5,000 km that are taken off when they read rough, unfound.

    A reading tells whether the defect comes within 12,000 km, right nine times in ten.
    """
    windows, _ = with_contact(bikes, seed, spacing_km=1e6, delay_km=2_000.0)
    rng = np.random.default_rng(seed)
    defect = 60_000.0 * np.random.default_rng(seed).weibull(2.0, bikes)
    reads = np.arange(5_000.0, 70_001.0, 5_000.0)
    near = (defect[:, None] - reads < 12_000) & (defect[:, None] > reads)
    rough = np.where(near, rng.random(near.shape) < 0.9, rng.random(near.shape) < 0.1)
    end = windows["bad_km"].fillna(windows["contact_km"]).to_numpy()
    rough &= reads < np.minimum(end, defect)[:, None]
    off = rough.any(axis=1) & (rng.random(bikes) < 0.7)
    at = reads[rough.argmax(axis=1)]
    blank = np.where(off, np.nan, windows["bad_km"])
    cut = windows.assign(
        bad_km=blank,
        good_km=np.where(off, at, windows["good_km"]),
        contact_km=np.where(off, at, windows["contact_km"]),
        heard=windows["heard"] & ~off,
        road_failure=windows["road_failure"] & ~off,
    )
    last = np.where(off, at, end)
    seen = (reads <= last[:, None]) & (reads < np.minimum(end, defect)[:, None])
    return cut, pd.DataFrame(rough, index=cut["life_id"]), seen, reads


def test_sensors_taken_off_because_they_read_rough_do_not_make_the_curve_late():
    windows, rough, seen, reads = removed_when_rough(2)

    def tests(life, at):
        row = rough.index.get_indexer(life["life_id"])
        near = (at[:, None] - reads < 12_000) & (at[:, None] > reads)
        right = np.where(near == rough.to_numpy()[row], 0.9, 0.1)
        return np.where(seen[row] & (at[:, None] > reads), np.log(right), 0.0).sum(axis=1)

    blind = DefectHazard(delay_prior=GammaPrior(200.0, 400_000.0)).fit(windows)
    ages = np.array([[20_000.0, 30_000.0, 40_000.0]])
    truth = (ages / 60_000.0) ** 2
    before = blind.predict_cumulative_hazard(windows.head(1), ages) / truth
    after = blind.fit(windows, evidence=Told(tests)).predict_cumulative_hazard(
        windows.head(1), ages
    )
    assert (before < 0.75).all()
    assert after / truth == pytest.approx(np.ones((1, 3)), abs=0.2)
