"""Complaints of rough sensors, against quadrature and on fleets whose truth is known."""

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad

from models.risk.complaints import (
    Complaints,
    complaints_log_likelihood,
    complaints_of,
    drawn_lives,
    learned_complaint_rates,
)
from models.risk.lives import checked_lives
from tests.models.risk.published_lives import lives

RATES = np.array([1 / 30_000, 1 / 4_000])


def rate(age: float, defect: float) -> float:
    """Rate added by roughness: none before half the way, then rising evenly to the defect."""
    way = age / defect
    return RATES[1] * max((way - 0.5) / 0.5, 0.0) if way < 1 else 0.0


def test_likelihood_is_that_of_a_poisson_process():
    """Complaints at 18,000 and 26,000 km, watched from 10,000 to 30,000, by quadrature."""
    watched = Complaints(
        np.zeros(2, int), np.array([18_000.0, 26_000.0]), np.array([10_000.0]), np.array([30_000.0])
    )
    places = np.array([15_000.0, 28_000.0, 45_000.0, 90_000.0])
    got = complaints_log_likelihood(RATES, watched, places[None, :, None])[0, :, 0]
    for found, defect in zip(got, places, strict=True):
        each = [np.log(RATES[0] + rate(at, defect)) for at in (18_000.0, 26_000.0)]
        last = min(30_000.0, defect)
        silent = quad(rate, 10_000, last, args=(defect,), points=[defect / 2], limit=200)[0]
        assert found == pytest.approx(sum(each) - silent, abs=1e-6)


def test_a_shift_moves_complaints_and_defect_together():
    ends = np.array([0.0]), np.array([12_000.0])
    young = Complaints(np.zeros(1, int), np.array([8_000.0]), *ends)
    old = Complaints(np.zeros(1, int), np.array([28_000.0]), ends[0] + 2e4, ends[1] + 2e4)
    place = np.array([[[33_000.0]]])
    moved = complaints_log_likelihood(RATES, young, place, np.array([20_000.0]))
    assert moved == pytest.approx(complaints_log_likelihood(RATES, old, place))


def test_taken_lives_keep_their_complaints():
    all_of_them = Complaints(
        np.array([0, 1, 1, 3]), np.arange(4.0), np.arange(4.0) * 10, np.arange(4.0) * 100
    )
    some = all_of_them.take(np.array([3, 1]))
    assert some.row.tolist() == [0, 1, 1]
    assert some.km.tolist() == [3.0, 1.0, 2.0]
    assert some.to_km.tolist() == [300.0, 100.0]


def test_only_prompted_tests_that_passed_are_complaints_in_vain():
    seen = checked_lives(
        lives([0.0, 0.0], [9.0, 5.0], [np.nan, 7.0]).assign(
            life_id=["A", "B"], contact_km=[20.0, np.nan]
        )
    )
    tests = pd.DataFrame(
        {
            "life_id": ["A", "A", "B", "B"],
            "read_km": [4.0, 9.0, 5.0, 7.0],
            "passed": [True, True, True, False],
            "prompted": [True, False, None, True],
        }
    )
    found = complaints_of(seen, tests)
    assert (found.row.tolist(), found.km.tolist()) == ([0], [4.0])
    assert found.to_km.tolist() == [20.0, 7.0]


def complained_of(rough: float, seed: int, n: int = 1_500):
    """Lives watched over 20,000 km, defect known, complained of by thinning."""
    rng = np.random.default_rng(seed)
    defect, begun = rng.uniform(15_000, 80_000, n), np.zeros(n)
    end = np.minimum(20_000.0 + begun, defect)
    life = np.repeat(np.arange(n), 40)
    at = rng.uniform(0, 20_000, len(life))
    late = np.clip((at / defect[life] - 0.5) / 0.5, 0, 1)
    kept = (rng.random(len(life)) < (RATES[0] + rough * late) * 20_000 / 40) & (at < end[life])
    return Complaints(life[kept], at[kept], begun, end), defect


@pytest.mark.parametrize("rough", [0.0, 1 / 4_000])
def test_rates_are_recovered(rough):
    complaints, defect = complained_of(rough, 3)
    ones = np.ones(len(defect))
    got = learned_complaint_rates(complaints, defect[:, None], np.zeros((len(defect), 1)), ones)
    assert got[0] == pytest.approx(RATES[0], rel=0.1)
    assert got[1] == pytest.approx(rough, rel=0.2, abs=RATES[0] / 4)


def test_no_complaint_says_nothing_of_roughness():
    none = Complaints(np.zeros(0, int), np.zeros(0), np.zeros(3), np.full(3, 1e4))
    got = learned_complaint_rates(none, np.full((3, 1), 2e4), np.zeros((3, 1)), np.ones(3))
    assert got[1] == 0.0
    assert 0 < got[0] < 1e-4


def test_drawn_lives_stand_for_all_of_their_kind():
    seen = lives(0.0, np.full(50, 5.0), np.where(np.arange(50) < 10, 6.0, np.nan))
    some, weight = drawn_lives(checked_lives(seen), most=20)
    assert len(some) == 30
    assert weight[some["bad_km"].isna()].sum() == pytest.approx(40)
