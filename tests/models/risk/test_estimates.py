"""Chances by km ahead, worked out once."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from models.risk.ahead import risk_ahead
from models.risk.estimates import ESTIMATE_KM, Estimates
from models.risk.now import HORIZONS_KM, defect_chances
from models.risk.outlook import OUTLOOK_KM, defects_ahead
from models.risk.schemas import SENSORS_NOW, WEAR_READINGS
from models.risk.score import fit_and_score
from models.risk.spreads import forgetful
from tests.models.risk.wearing_fleet import simulate_wearing_fleet


@pytest.fixture(scope="module")
def scored():
    """Results, and the sensors in service; one has no odometer reading."""
    fleet = simulate_wearing_fleet(120, 6)
    now = SENSORS_NOW.check(fleet.sensors_now)
    now.loc[3, "age_now_km"] = np.nan
    results = fit_and_score(
        fleet.windows,
        now,
        contact_gaps=fleet.contact_gaps,
        wear_readings=WEAR_READINGS.check(fleet.wear_readings),
        remember=forgetful,
    )
    return results, now


def _chances(results, now, km) -> np.ndarray:
    known = now["age_now_km"].notna().to_numpy()
    settings = dict(results.settings)
    view = settings.pop("in_view").to_numpy(float)[known]
    how = {"in_view": view, "horizons_km": km, "n_resamples": 0, **settings}
    return defect_chances(results.model, now[known], **how).chance


def test_they_are_the_chances_and_blank_where_the_age_is_not_known(scored):
    results, now = scored
    km, chance, low, high = results.estimates
    known = now["age_now_km"].notna().to_numpy()
    assert km == ESTIMATE_KM
    assert np.isnan(chance[~known]).all()
    assert (~known).sum() == 1
    assert (chance[known] == _chances(results, now, ESTIMATE_KM)).all()
    assert ((low <= chance) & (chance <= high))[known].all()


def test_every_view_of_a_sensor_tells_the_same_chance(scored):
    results, now = scored
    how = {"estimates": results.estimates}
    ahead = risk_ahead(results.model, now, **how, **results.settings)
    found = defects_ahead(
        results.model, now, None, results.settings, n_fits=1, remember=forgetful, **how
    )
    by_km = pd.concat(found.by_km_parts())
    for km in HORIZONS_KM[1:]:
        risk = results.defect_risk.set_index("sensor_id")[f"defect_{km:.0f}_km"].dropna()
        told = ahead[ahead["horizon"] == km].set_index("sensor_id")["defect"]
        single = {"rel": 1e-6, "abs": 1e-9}  # what is drawn is drawn in single precision
        assert told[risk.index].to_numpy() == pytest.approx(risk.to_numpy(), **single)
        drawn = by_km[by_km["km"] == km].set_index("sensor_id")["defect"]
        assert drawn[risk.index].to_numpy() == pytest.approx(risk.to_numpy(), **single)
    assert set(HORIZONS_KM) <= set(OUTLOOK_KM)


def test_their_cells_are_fine_enough(scored):
    results, now = scored
    fine = tuple(sorted({*map(float, range(0, 40_000, 250)), *HORIZONS_KM}))
    true = _chances(results, now, fine)[:, [fine.index(km) for km in HORIZONS_KM]]
    known = now["age_now_km"].notna().to_numpy()
    found = results.estimates.take(np.flatnonzero(known)).at(HORIZONS_KM).chance
    # at most 1.2 % off over fleets of 60, 160 and 300 bikes; 7 % with cells at HORIZONS_KM alone
    assert np.abs(found / true - 1).max() < 0.02


def test_km_ahead_that_were_not_asked_for_are_refused():
    chance = np.array([[0.1, 0.2], [0.3, 0.4]])
    estimates = Estimates((0.0, 500.0), chance, chance / 2, chance * 2)
    found = estimates.take(np.array([1])).at((500.0, 0.0))
    assert [values.tolist() for values in found] == [[[0.4, 0.3]], [[0.2, 0.15]], [[0.8, 0.6]]]
    with pytest.raises(ValueError, match="not in tuple"):
        estimates.at((750.0,))
