"""Sensors that may have had the defect when first seen, against quadrature and a fleet of them."""

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad

from models.risk.assumed import GammaPrior
from models.risk.first_sight import FirstSight
from models.risk.hazard import DefectHazard
from models.risk.lives import checked_lives, rows_of
from tests.models.risk.published_lives import lives

RATE = 1 / 4_000


def hazard(age):
    return (age / 60_000.0) ** 2


def seen_in_use(**changes):
    frame = lives([30_000.0], [34_000.0], [np.nan]).assign(
        contact_km=37_000.0, earlier_km=30_000.0, **changes
    )
    return checked_lives(frame)


def test_odds_of_a_silent_defect_are_those_by_quadrature():
    seen = seen_in_use()
    rows = rows_of(seen, np.zeros(1), delay_km=4_000.0, sensitivity=0.9)
    sight = FirstSight(seen, rows, 0.9)

    def density(u):
        return 2 * u / 60_000**2 * np.exp(hazard(30_000) - hazard(u) - RATE * (30_000 - u))

    expected = quad(density, 0, 30_000)[0]
    assert sight.odds(hazard, RATE)[0] == pytest.approx(expected, rel=0.01)
    weight = expected * 0.1 * np.exp(-RATE * 7_000)  # one test missed it, silent for 7,000 km
    assert sight.weigh(hazard, RATE)[0] == pytest.approx(weight, rel=0.01)


def test_a_finding_soon_after_first_sight_may_be_of_a_defect_there_before():
    found = checked_lives(
        lives([30_000.0], [30_000.0], [31_000.0]).assign(heard=True, contact_km=np.nan)
    )
    rows = rows_of(found, np.zeros(1), delay_km=4_000.0)
    sight = FirstSight(found, rows, 0.9)
    weight = sight.odds(hazard, RATE) * np.exp(-RATE * 1_000) * RATE
    assert sight.weigh(hazard, RATE) == pytest.approx(weight)


@pytest.mark.parametrize("changes", [{"entry_km": 0.0}, {"repaired": True}])
def test_new_and_cleaned_sensors_begin_without_the_defect(changes):
    seen = seen_in_use().assign(**changes)
    assert not rows_of(seen, np.zeros(1), delay_km=4_000.0).before.any()


def in_use(bikes: int, seed: int) -> pd.DataFrame:
    """Sensors in use when first seen, followed for 6,000 km; none tested, all heard of in time.

    Weibull of shape 2 and scale 60,000 km; a defect is heard of after 6,000 km on average, and
    those not heard of before first sight are seen.
    """
    rng = np.random.default_rng(seed)
    defect = 60_000.0 * rng.weibull(2.0, bikes)
    heard = defect + rng.exponential(6_000.0, bikes)
    entry = rng.uniform(10_000.0, 60_000.0, bikes)
    kept = heard > entry
    entry, heard = entry[kept], heard[kept]
    end = entry + 6_000.0
    bad = np.where(heard <= end, heard, np.nan)
    names = [f"S{i}" for i in range(len(entry))]
    frame = lives(entry, entry, bad)
    return frame.assign(
        life_id=names,
        unit_id=names,
        heard=~np.isnan(bad),
        contact_km=np.where(np.isnan(bad), end, np.nan),
    )


def test_defects_there_before_first_sight_do_not_steepen_the_curve():
    windows, ages = in_use(6_000, 1), np.array([[40_000.0, 60_000.0]])
    model = DefectHazard(delay_prior=GammaPrior(1e4, 6e7), fewest_road_failures=10**6)
    got = model.fit(windows).predict_cumulative_hazard(windows.head(1), ages)
    blind = windows.assign(repaired=True)  # the rule that all begin sound
    taken = model.fit(blind).predict_cumulative_hazard(blind.head(1), ages)
    late = np.diff(got)[0, 0] / np.diff(hazard(ages))[0, 0]
    assert late == pytest.approx(1.0, abs=0.25)
    assert np.diff(taken)[0, 0] / np.diff(hazard(ages))[0, 0] > 1.8
