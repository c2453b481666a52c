from datetime import date

import numpy as np
import pandas as pd
import pytest

from models.risk import outlook
from models.risk.ahead import chances_under, risk_ahead
from models.risk.odometer_rate import riding_rates
from models.risk.odometer_stretches import ODOMETER_READINGS
from models.risk.outlook import (
    OUTLOOK_DAYS,
    OUTLOOK_KM,
    defects_ahead,
    new_life_curve,
    sensor_outlook,
)
from models.risk.score import fit_and_score
from tests.models.risk.simulated_fleet import Truth, simulate

DAY = date(2026, 11, 1)


@pytest.fixture(scope="module")
def fleet():
    windows, now = simulate(120, 5, Truth())
    now = now.assign(contact_km=now["age_now_km"])
    seen = windows["sensor_id"].map(now.set_index("sensor_id")["contact_km"])
    windows = windows.assign(contact_km=seen)
    results = fit_and_score(windows, now, n_resamples=20)
    units = now["unit_id"].unique()
    readings = pd.DataFrame(
        {
            "unit_id": np.repeat(units, 3),
            "read_on": np.tile(
                pd.to_datetime(["2026-01-01", "2026-05-01", "2026-10-20"]), len(units)
            ),
            "odometer_km": np.tile([10_000.0, 16_000.0, 24_600.0], len(units)),
        }
    )
    return results, now, riding_rates(ODOMETER_READINGS.check(readings), DAY)


def rows(by_day) -> pd.DataFrame:
    return pd.concat(by_day.parts(), ignore_index=True)


def test_the_estimate_is_that_of_the_risk(fleet):
    results, now, riding = fleet
    ahead = defects_ahead(results.model, now, riding, results.settings)
    by_km, by_day = pd.concat(ahead.by_km_parts()), ahead.by_day
    chances = chances_under(
        results.model, now, results.settings | {"horizons_km": OUTLOOK_KM, "n_resamples": 5}
    )
    assert by_km["defect"].to_numpy() == pytest.approx(chances.chance.ravel(), abs=1e-9)
    ahead = risk_ahead(results.model, now, riding=riding, n_draws=2, **results.settings)
    days = ahead.query("horizon_kind == 'days' and horizon == 90")["defect"].to_numpy()
    ours = rows(by_day).query("draw == 0 and days == 91", engine="python")["defect"].to_numpy()
    # one day later, and other points between which it is drawn straight
    assert ours == pytest.approx(days, abs=0.02)


def test_every_fit_is_a_course_that_does_not_fall(fleet):
    results, now, riding = fleet
    _, by_day, *_ = defects_ahead(results.model, now, riding, results.settings, n_fits=4)
    by_day = rows(by_day)
    assert len(by_day) == len(now) * 5 * len(OUTLOOK_DAYS)
    for name in ("defect", "heard"):
        values = by_day[name].to_numpy().reshape(len(now), 5, -1)
        assert np.all(np.diff(values, axis=2) >= -1e-12)
    assert np.all(by_day["heard"] <= by_day["defect"] + 1e-9)
    assert by_day.query("days == 0", engine="python")["heard"].eq(0).all()


def test_a_fit_moves_all_sensors_together(fleet):
    """The spread of the sum over sensors is near the sum of spreads, far above independence."""
    results, now, riding = fleet
    _, by_day, *_ = defects_ahead(results.model, now, riding, results.settings, n_fits=40)
    at = (
        rows(by_day)
        .query("days == 182 and draw > 0", engine="python")
        .pivot_table(index="draw", columns="sensor_id", values="defect")
    )
    together, apart = at.sum(axis=1).std(), np.sqrt((at.std() ** 2).sum())
    assert together > 2 * apart


def test_what_the_plans_rest_on_by_sensor(fleet):
    results, now, riding = fleet
    chance = results.defect_risk.set_index("sensor_id")["defect_now"]
    table = sensor_outlook(results.model, now, chance, riding, {})
    assert table["defect_now"].to_numpy() == pytest.approx(chance.to_numpy())
    assert table["km_per_day"].gt(0).all()
    # the common curve times the ratio is the hazard of a new sensor in its place
    curve = new_life_curve(results.model)
    new = now.assign(repaired=False, earlier_repairs=0).iloc[:5]
    ages = np.tile([20_000.0, 60_000.0], (5, 1))
    right = results.model.predict_cumulative_hazard(new, ages)
    common = np.interp(ages, curve["age_km"], curve["cumulative_hazard"])
    assert common * table["new_hazard_ratio"].to_numpy()[:5, None] == pytest.approx(right, rel=0.02)


def test_a_superseded_part_is_followed_by_its_successor(fleet):
    results, now, riding = fleet
    chance = results.defect_risk.set_index("sensor_id")["defect_now"]
    part, other = sorted(now["part_no"].unique())[:2]
    plain, followed = (
        sensor_outlook(results.model, now, chance, riding, parts)["new_hazard_ratio"]
        for parts in ({}, {part: other})
    )
    changed = now["part_no"].eq(part).to_numpy()
    assert np.all((plain != followed)[changed])
    assert np.all((plain == followed)[~changed])


def test_however_many_are_averaged_at_a_time(fleet, monkeypatch):
    results, now, riding = fleet
    some = now.iloc[:7]
    whole = defects_ahead(results.model, some, riding, results.settings, n_fits=2).by_day
    monkeypatch.setattr(outlook, "_AT_ONCE", 3)
    parts = defects_ahead(results.model, some, riding, results.settings, n_fits=2).by_day
    assert [len(part) for part in parts.parts()] == [n * 3 * len(OUTLOOK_DAYS) for n in (3, 3, 1)]
    parts = rows(parts)
    monkeypatch.undo()
    pd.testing.assert_frame_equal(rows(whole), parts, rtol=1e-12)


def test_sensors_not_known_are_left_out(fleet):
    results, now, riding = fleet
    some = now.iloc[:3].assign(age_now_km=[np.nan, 1_000.0, 2_000.0])
    ahead = defects_ahead(results.model, some, riding, results.settings, n_fits=1)
    by_km, by_day = pd.concat(ahead.by_km_parts()), ahead.by_day
    assert by_km["sensor_id"].unique().tolist() == some["sensor_id"].tolist()[1:]
    assert rows(by_day)["sensor_id"].nunique() == 2
    _, unridden, *_ = defects_ahead(results.model, some, None, results.settings, n_fits=1)
    assert rows(unridden).empty


def test_without_a_model_nothing_is_told(fleet):
    _, now, riding = fleet
    ahead = defects_ahead(None, now, riding, {})
    by_km, by_day = pd.concat(ahead.by_km_parts()), ahead.by_day
    assert by_km.empty
    assert rows(by_day).empty
    assert new_life_curve(None).empty
    blank = sensor_outlook(None, now, pd.Series(dtype=float), riding, {})
    assert blank["new_hazard_ratio"].isna().all()
