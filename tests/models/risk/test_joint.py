"""Readings weighed with the rest of the record, on fleets whose truth is known."""

import numpy as np
import pytest

from models.risk.explain import explain_risk
from models.risk.score import fit_and_score
from tests.models.risk.wearing_fleet import simulate_wearing_fleet
from tests.models.risk.wearing_world import World


@pytest.fixture(scope="module")
def fleet():
    return simulate_wearing_fleet(500, 7, World(readings="clear"))


@pytest.fixture(scope="module")
def results(fleet):
    return fit_and_score(
        fleet.windows,
        fleet.sensors_now,
        contact_gaps=fleet.contact_gaps,
        wear_readings=fleet.wear_readings,
        n_resamples=0,
    )


def log_loss(fleet, chance, ahead_km):
    now = fleet.sensors_now
    found = (now["true_defect_km"] <= now["true_age_now_km"] + ahead_km).to_numpy()
    chance = np.clip(chance.to_numpy(float), 1e-9, 1 - 1e-9)
    return -np.mean(np.where(found, np.log(chance), np.log1p(-chance)))


def test_readings_make_the_chances_better(fleet, results):
    blind = fit_and_score(
        fleet.windows, fleet.sensors_now, contact_gaps=fleet.contact_gaps, n_resamples=0
    )
    losses = [log_loss(fleet, r.defect_risk["defect_5000_km"], 5_000.0) for r in (results, blind)]
    assert losses[0] < losses[1] - 0.02


def test_expected_defects_are_those_there_are(fleet, results):
    now = fleet.sensors_now
    true = (now["true_defect_km"] <= now["true_age_now_km"] + 5_000).sum()
    assert results.defect_risk["defect_5000_km"].sum() == pytest.approx(true, rel=0.2)


def test_the_course_sets_in_where_the_wear_does(fleet, results):
    growth = results.settings["growth"]
    rise = growth.course_.rise[:-1]
    assert rise[:2].sum() < 0.25 * rise.sum()  # before 0.55 of the way
    assert rise.sum() > 0.8


def test_shares_of_an_explanation_add_up_with_readings_among_them(fleet, results):
    some = fleet.sensors_now.head(60)
    table = explain_risk(results, some)
    total = table.groupby("sensor_id", sort=False)["change"].sum()
    chance = results.defect_risk.set_index("sensor_id")["defect_now"].loc[total.index]
    assert total.to_numpy() == pytest.approx(chance.to_numpy(), abs=1e-9)
    reading = table[table["factor"].eq("reading")]
    assert (reading["change"].abs() > 0.002).any()
    assert reading["words"].str.contains("rougher than").any()


@pytest.mark.long
def test_a_missed_defect_is_put_earlier_in_the_fit():
    """Half of all tests miss: taken at their word the defects would seem to come later."""
    world = World(sensitivity=0.6, curve="weibull", share_in_use=0.001, share_unknown=0.0)
    fleet = simulate_wearing_fleet(1_500, 3, world)
    from models.risk.assumed import BetaPrior

    medians = []
    for s in (0.6, 0.999):
        fitted = fit_and_score(
            fleet.windows,
            fleet.sensors_now,
            contact_gaps=fleet.contact_gaps,
            wear_readings=fleet.wear_readings,
            sensitivity=BetaPrior(1e6 * s, 1e6 * (1 - s)),
            n_resamples=0,
        )
        curve = fitted.fleet_curve.query("part_no == 'all'")
        medians.append(np.interp(-0.8, -curve["survival"], curve["age_km"]))
    assert medians[0] < medians[1] * 0.985
