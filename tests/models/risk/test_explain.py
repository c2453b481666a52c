from __future__ import annotations

import numpy as np
import pytest

from models.risk import explain
from models.risk.explain import FACTORS, _over_choices, explain_risk
from models.risk.schemas import LIFE_WINDOWS
from models.risk.score import fit_and_score
from tests.models.risk.simulated_fleet import Truth, simulate, with_contact


@pytest.fixture(scope="module")
def fleet():
    windows, now = simulate(150, 2, Truth(duties=(0.4, 2.5)), share_unknown=0.2)
    now.loc[:3, "last_verdict"] = ["fail", "suspect", "pass", "pass"]
    now.loc[4, "age_now_km"] = None
    results = fit_and_score(windows, now, n_resamples=0)
    return results, now, explain_risk(results, now)


@pytest.mark.parametrize(("horizon", "name"), [(0.0, "defect_now"), (5_000.0, "defect_5000_km")])
def test_the_shares_add_up_to_the_chance(fleet, horizon, name):
    results, now, _ = fleet
    table = explain_risk(results, now, horizon_km=horizon)
    total = table.groupby("sensor_id", sort=False)["change"].sum()
    risk = results.defect_risk.set_index("sensor_id")[name].dropna()
    assert total.to_numpy() == pytest.approx(risk.to_numpy(), abs=1e-9)
    assert set(table["factor"]) == {"middle", *FACTORS}


def test_silence_is_a_factor_where_it_counts():
    windows, now = with_contact(150, 3)
    results = fit_and_score(windows, now, n_resamples=0)
    table = explain_risk(results, now)
    total = table.groupby("sensor_id", sort=False)["change"].sum()
    assert total.to_numpy() == pytest.approx(results.defect_risk["defect_now"].to_numpy(), abs=1e-9)
    far = now.assign(contact_km=now["age_now_km"] * 0.7)
    shares = explain_risk(results, far.head(40)).query("factor == 'silence'")
    assert (shares["change"].abs() > 0.001).any()


def test_a_failed_test_stands_first_and_raises_the_chance(fleet):
    _, now, table = fleet
    own = table[table["sensor_id"] == now["sensor_id"][0]]
    assert own["factor"].tolist()[:2] == ["middle", "sign"]
    assert own["change"].iloc[1] > 0.3
    assert own["words"].iloc[1] == "last test failed"


def test_each_factor_moves_the_way_it_should(fleet):
    _, now, table = fleet
    wide = table.pivot(index="sensor_id", columns="factor", values="change")
    wide = wide.rename(columns={"riding": "duty_share"})
    frame = now.set_index("sensor_id").join(wide).dropna(subset=["age_now_km"])
    frame = frame[frame["last_verdict"] == "pass"]
    by_duty = frame.groupby("duty")["duty_share"]
    assert by_duty.max()["D0"] < 0 < by_duty.min()["D1"]
    tested = frame[frame["good_km"].notna()]
    since = tested["age_now_km"] - tested["good_km"]
    assert tested["test"].corr(since) > 0.7
    assert (frame["sign"].abs() < 1e-9).all()


def test_however_many_are_told_at_a_time(fleet, monkeypatch):
    results, sensors, whole = fleet
    monkeypatch.setattr(explain, "_TOLD_AT_ONCE", 7)
    assert explain_risk(results, sensors).equals(whole)


def test_what_cannot_be_explained(fleet):
    results, now, table = fleet
    assert now["sensor_id"][4] not in set(table["sensor_id"])
    with pytest.raises(ValueError, match="horizon_km is 7"):
        explain_risk(results, now, horizon_km=7)
    none = fit_and_score(LIFE_WINDOWS.empty(), now)
    assert explain_risk(none, now).empty


def test_a_factor_that_is_not_at_work_asks_for_no_further_chance():
    asked = []

    def chances(choices):
        asked.extend(choices)
        worth = 2.0 ** np.arange(len(FACTORS))
        return {chosen: np.array([worth[list(chosen)].sum()]) for chosen in choices}

    at_work = (True, False, True, False, False, False, True)
    every = _over_choices(chances, at_work)
    assert len(every) == 2 ** len(FACTORS)
    assert len(asked) == 2**3
    assert every[(True,) * len(FACTORS)] == 1 + 4 + 64
    assert every[(False, True, False, True, True, True, False)] == 0
