from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from models.risk import explain
from models.risk.explain import explain_risk
from models.risk.factors import FACTORS
from models.risk.now import HORIZONS_KM
from models.risk.schemas import LIFE_WINDOWS
from models.risk.score import fit_and_score
from models.risk.spreads import forgetful
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
    assert not table.duplicated(["sensor_id", "factor"]).any()
    wide = table.pivot_table("change", "sensor_id", "factor")
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


def test_a_factor_that_is_not_at_work_asks_for_no_further_chance(fleet):
    results, _, _ = fleet
    at_work = (True, False, True, False, False, False, True)
    asked = explain._Asked(results, HORIZONS_KM, 0.0, at_work)
    assert len(asked.choices) == 2**3
    assert len(asked.others) == 2**2
    assert all(not chosen[1] for chosen in asked.choices)
    chance = np.random.default_rng(0).uniform(0.1, 0.9, (3, len(asked.others)))
    layers = np.zeros((3, len(asked.others), 3))
    layers[:, :, 1] = np.log1p(-chance)  # no defect over the km ahead, in the order of the choices
    changes = asked.signed(layers.reshape(3, -1), pd.Series([None] * 3, dtype="object"))
    assert np.allclose(changes[:, 0], chance[:, 0])
    assert np.allclose(changes.sum(axis=1), chance[:, -1])
    assert np.abs(changes[:, [2, 4, 5, 6]]).max() == 0
    age = (chance[:, 2] - chance[:, 0] + chance[:, 3] - chance[:, 1]) / 2
    assert np.allclose(changes[:, 1], age)


def test_sensors_that_all_show_a_sign_are_told_by_it():
    windows, now = simulate(60, 2)
    now["last_verdict"] = "fail"
    results = fit_and_score(windows, now, n_resamples=0)
    told = explain_risk(results, now, remember=forgetful)
    total = told.groupby("sensor_id", sort=False)["change"].sum()
    assert total.to_numpy() == pytest.approx(results.defect_risk["defect_now"].to_numpy(), abs=1e-9)
    assert (told.query("factor == 'sign'")["change"] > 0).all()


@pytest.mark.parametrize("horizon_km", [0.0, 5_000.0])
def test_a_sign_is_laid_over_what_is_remembered_of_a_sensor_alone(horizon_km):
    """How likely a sign is right hangs on all that show it: one more, and none is forgotten."""
    windows, now = simulate(60, 2)
    now.loc[:5, "last_verdict"] = ["fail", "fail", "fail", "suspect", "pass", "pass"]
    kept: dict = {}
    fresh_rows: list[int] = []

    def remember(name, keys, make):
        of_name, keys = kept.setdefault(name, {}), list(map(tuple, keys))
        rows = make(np.arange(len(keys))).astype(np.float32)
        fresh_rows.append(sum(key not in of_name for key in keys))
        for key, row in zip(keys, rows, strict=True):
            of_name.setdefault(key, row)
        return np.array([of_name[key] for key in keys]).reshape(rows.shape)

    for verdict in ("pass", "fail"):
        now.loc[4, "last_verdict"] = verdict
        results = fit_and_score(windows, now, n_resamples=0)
        told, fresh = (
            explain_risk(results, now, horizon_km=horizon_km, remember=way)
            for way in (remember, forgetful)
        )
        pd.testing.assert_frame_equal(told, fresh)
    assert fresh_rows[1] == 4
    assert fresh_rows[-2:] == [0, 1]


def test_a_sign_on_a_sensor_that_has_the_defect_for_sure_has_its_shares_all_the_same():
    """What is remembered is in single precision, in which its chance would be 1 to the last digit."""
    windows, now = simulate(60, 2)
    now.loc[0, ["last_verdict", "age_now_km", "contact_km"]] = ["fail", 5e6, None]
    results = fit_and_score(windows, now, n_resamples=0)
    own = explain_risk(results, now, remember=forgetful).query("sensor_id == @now.sensor_id[0]")
    assert len(own) > 3
    assert own["change"].notna().all()
