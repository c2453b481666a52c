from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from models.risk.ahead import (
    RISK_AHEAD,
    ROAD_SHARE,
    _ends,
    heard_ahead,
    risk_ahead,
    road_share,
)
from models.risk.assumed import BetaPrior
from models.risk.delay import assumed_delay
from models.risk.estimates import ESTIMATE_KM
from models.risk.hazard import DefectHazard
from models.risk.now import defect_chances
from models.risk.odometer_rate import km_ahead, riding_rates
from tests.models.risk.simulated_fleet import with_contact

GRID = np.array([km for km in ESTIMATE_KM if km <= 15_000])
SURE = BetaPrior(1e9, 1e-3)


@pytest.fixture(scope="module")
def fleet():
    return with_contact(400, 1)


@pytest.fixture(scope="module")
def model(fleet):
    return DefectHazard().fit(fleet[0])


def sensors(n=1, **columns):
    frame = {
        "life_id": [f"S{k}" for k in range(n)],
        "sensor_id": [f"S{k}" for k in range(n)],
        "unit_id": [f"U{k}" for k in range(n)],
        "part_no": "P",
        "duty": None,
        "repaired": False,
        "age_known": True,
        "entry_km": 0.0,
        "age_now_km": 30_000.0,
        "good_km": 24_000.0,
        "contact_km": 29_000.0,
        "last_verdict": "pass",
        "last_conclusion": "nothing_seen",
    }
    return pd.DataFrame(frame | columns)


def riding(km_per_day=(20.0, 60.0), last=720, as_of=720):
    """Bikes U0, U1, ... read every month."""
    start, days = pd.Timestamp("2022-01-01"), np.arange(0, last + 1, 30)
    rows = [
        pd.DataFrame(
            {
                "unit_id": f"U{k}",
                "read_on": start + pd.to_timedelta(days, unit="D"),
                "odometer_km": rate * days,
            }
        )
        for k, rate in enumerate(km_per_day)
    ]
    return riding_rates(pd.concat(rows), (start + dt.timedelta(days=as_of)).date())


def curve(now=0.05, per_km=1 / 50_000):
    """Chance of the defect on the grid at a steady hazard."""
    return (1 - (1 - now) * np.exp(-per_km * GRID))[None, None, :]


def at(km, defect=None, rate=1 / 5_000):
    defect = curve() if defect is None else defect
    return heard_ahead(GRID, defect, np.array([rate]), np.atleast_2d(np.asarray(km, float)))


def test_being_heard_of_at_a_steady_hazard_is_as_integrated():
    """By hand: 1 - (1-p) e^(-ah) - [p + (1-p) a/(r-a) ((e^((r-a)h) - 1))] e^(-rh)."""
    now, hazard, rate, h = 0.05, 1 / 50_000, 1 / 5_000, 10_000.0
    waiting = now + (1 - now) * hazard / (rate - hazard) * np.expm1((rate - hazard) * h)
    expected = 1 - (1 - now) * np.exp(-hazard * h) - waiting * np.exp(-rate * h)
    assert at(h).heard[0, 0, 0] == pytest.approx(expected, rel=2e-3)


def test_at_once_nothing_has_been_heard():
    assert at(0.0).heard[0, 0, 0] == 0
    assert at(0.0).defect[0, 0, 0] == pytest.approx(0.05)


def test_a_defect_heard_of_at_once_is_a_defect():
    found = at([1_000, 7_700, 15_000], rate=1e3)
    assert np.allclose(found.heard, found.defect, rtol=1e-5)


@pytest.mark.parametrize("rate", [0.0, 1e-15])
def test_a_defect_never_heard_of_lets_nobody_down(rate):
    assert at([1_000, 15_000], rate=rate).heard == pytest.approx(0, abs=1e-9)


def test_a_defect_there_for_certain_is_heard_of_by_its_delay_alone():
    found = at([2_500.0], defect=np.ones((1, 1, len(GRID))))
    assert found.heard[0, 0, 0] == pytest.approx(1 - np.exp(-0.5))


@given(st.floats(0, 0.9), st.floats(1e-7, 1e-3), st.floats(1e-7, 1e-1))
def test_more_km_more_chance_and_never_more_than_of_the_defect(now, hazard, rate):
    found = at(np.linspace(0, 15_000, 61), curve(now, hazard), rate)
    assert (np.diff(found.heard) >= -1e-12).all()
    assert (found.heard <= found.defect + 1e-12).all()
    slower = at(np.linspace(0, 15_000, 61), curve(now, hazard), rate / 2)
    assert (slower.heard <= found.heard + 1e-12).all()


def test_road_failures_ahead_are_those_of_a_simulation():
    """Defects drawn from the curve, each with an exponential delay, half of them on the road."""
    rng = np.random.default_rng(1)
    n, delay_km, now, per_km = 400_000, 4_000.0, 0.08, 1 / 40_000
    age = np.where(rng.random(n) < now, 0.0, rng.exponential(1 / per_km, n))
    heard = age + rng.exponential(delay_km, n)
    road = rng.random(n) < 0.5
    km = np.array([1_000.0, 5_000.0, 10_000.0])
    found = at(km, curve(now, per_km), 1 / delay_km)
    for k, h in enumerate(km):
        seen = ((heard <= h) & road).mean()
        error = 4 * np.sqrt(seen / n)
        assert 0.5 * found.heard[0, 0, k] == pytest.approx(seen, abs=error)
        assert found.defect[0, 0, k] == pytest.approx((age <= h).mean(), abs=4 * np.sqrt(0.25 / n))


def test_by_date_the_chances_are_those_of_simulated_km(model):
    """The km of a month drawn log-normally, the chances looked up at each and averaged."""
    some, rides = sensors(2), riding()
    rng = np.random.default_rng(2)
    found = risk_ahead(model, some, riding=rides, share=SURE, n_draws=2)
    found = found[found["horizon_kind"].eq("days")].set_index(["sensor_id", "horizon"])
    for day in (30, 180):
        z = rng.standard_normal(20_000)
        km = km_ahead(rides, some["unit_id"], [day], z)[:, 0]
        chances = defect_chances(model, some, horizons_km=tuple(GRID), n_resamples=0).chance
        each = heard_ahead(GRID, chances[:, None], model.delay_.draw(0, 0), km)
        for k, name in enumerate(("S0", "S1")):
            row = found.loc[(name, day)]
            assert row["defect"] == pytest.approx(each.defect[k].mean(), rel=0.01)
            assert row["road"] == pytest.approx(each.heard[k].mean(), rel=0.02)


def test_within_km_the_defect_is_that_of_the_risk_now(fleet, model):
    some = fleet[1].iloc[:30]
    found = risk_ahead(model, some, seed=3)
    expected = defect_chances(model, some, horizons_km=(0.0, 1_000.0, 5_000.0, 10_000.0), seed=3)
    for k, km in enumerate((1_000, 5_000, 10_000)):
        rows = found[found["horizon"].eq(km)]
        assert np.allclose(rows["defect"], expected.chance[:, k + 1])
        assert np.allclose(rows["defect_low"], expected.low[:, k + 1], rtol=0.05)
        assert np.allclose(rows["defect_high"], expected.high[:, k + 1], rtol=0.05)


def test_a_date_reached_for_certain_is_the_km_it_reaches(model):
    """A bike of which all is known, 20 km a day to the metre, but for the lumps of a ride."""
    rides = riding([20.0] * 60)
    by_date = risk_ahead(model, sensors(), riding=rides, horizons_days=(100,))
    by_km = risk_ahead(model, sensors(), horizons_km=(2_000.0,))
    row, same = by_date.iloc[-1], by_km.iloc[-1]
    assert row["km"] == pytest.approx(2_000, rel=0.03)
    assert row["defect"] == pytest.approx(same["defect"], rel=0.03)
    assert row["road"] == pytest.approx(same["road"], rel=0.05)


def test_the_interval_is_that_of_its_three_sources(model):
    """With a sure share and a sure delay only the curve's spread is left, and so on."""
    some = sensors(1)
    still = DefectHazard().set_params(**model.get_params())
    still.__dict__.update(vars(model))
    still.delay_ = replace(model.delay_, log_sd=0.0)
    wide = BetaPrior(2.0, 2.0)
    half = BetaPrior(1e7, 1e7)

    def width(fitted, share):
        row = risk_ahead(fitted, some, share=share, n_draws=400).iloc[1]
        assert row["road_low"] <= row["road"] <= row["road_high"]
        return np.log(row["road_high"] / row["road_low"])

    assert width(still, half) < width(model, half) < width(model, wide)
    assert width(still, half) < width(still, wide) < 1.05 * width(model, wide)
    expected = 2 * norm.ppf(0.95) * model.delay_.log_sd
    assert width(model, half) < width(still, half) + expected


def test_without_a_delay_learned_or_used_the_assumed_one_stands(fleet):
    silent = DefectHazard(delay_prior=None).fit(fleet[0])
    assert silent.delay_ is None
    row = risk_ahead(silent, sensors(), share=SURE).iloc[0]
    rate = assumed_delay().rate_per_km
    assert 0 < row["road"] < row["defect"] * -np.expm1(-rate * 1_000) * 1.01


def test_the_share_counts_road_failures_among_defects_heard_of():
    windows = pd.DataFrame(
        {
            "bad_km": [1.0, 2, 3, 4, 5, np.nan],
            "road_failure": [True, True, False, False, False, False],
            "heard": [False, True, True, False, None, True],
        }
    )
    assert road_share(windows) == ROAD_SHARE.after(2, 1)
    assert road_share(windows.drop(columns="heard")) == ROAD_SHARE.after(2, 0)
    assert road_share(windows.iloc[:0]) == ROAD_SHARE


def test_road_failures_foretold_are_those_that_come():
    """Fleets with a delay of 3,000 km and half the defects on the road, followed 5,000 km on."""
    told, seen = 0.0, 0
    for seed in range(3):
        rng = np.random.default_rng([seed, 9])
        windows, in_service = with_contact(500, seed, delay_km=3_000.0)
        fitted = DefectHazard().fit(windows)
        found = risk_ahead(
            fitted, in_service, share=road_share(windows), horizons_km=(5_000.0,), n_draws=2
        )
        told += found["road"].sum()
        age = in_service["age_now_km"].to_numpy()
        defect = _true_defect_age(rng, in_service)
        heard = np.maximum(defect, age) + rng.exponential(3_000.0, len(age))
        seen += ((heard <= age + 5_000) & (rng.random(len(age)) < 0.5)).sum()
    assert told == pytest.approx(seen, rel=0.25)


def _true_defect_age(rng, in_service):
    """Truth of ``with_contact``: already there, or Weibull of shape 2 and 60,000 km from today."""
    age = in_service["age_now_km"].to_numpy()
    ahead = 60_000.0 * np.sqrt((age / 60_000.0) ** 2 + rng.exponential(size=len(age)))
    return np.where(in_service["truly_defective"], age, ahead)


def test_a_bike_unread_for_long_is_flagged_and_said_so(model):
    rides = riding(last=480, as_of=720)
    found = risk_ahead(model, sensors(3), riding=rides)
    assert found["odometer_stale"].all()  # U2 was never read
    dates = found["words"][found["horizon_kind"].eq("days")]
    assert dates.str.contains("the date is a guess").all()
    assert not found["words"][found["horizon_kind"].eq("km")].str.contains("guess").any()


def test_without_an_age_or_a_model_nothing_is_claimed(model):
    some = sensors(2, age_now_km=[np.nan, 30_000.0])
    found = risk_ahead(model, some)
    assert found["defect"].isna().tolist() == [True] * 3 + [False] * 3
    assert found["words"].iloc[0] == "Within 1,000 km: not known."
    assert risk_ahead(None, some, riding=riding())["road"].isna().all()
    assert risk_ahead(model, sensors(0), riding=riding()).empty
    assert list(risk_ahead(model, sensors(0)).columns) == RISK_AHEAD.names


def test_the_settings_of_the_score_are_taken_over(fleet, model):
    some = fleet[1].iloc[:20]
    seen = pd.Series(1.0, some["sensor_id"])
    there = risk_ahead(model, some.assign(contact_km=some["good_km"]), in_view=seen)
    gone = risk_ahead(model, some.assign(contact_km=some["good_km"]), in_view=0.0 * seen)
    assert (there["defect"] <= gone["defect"] + 1e-12).all()
    assert there["defect"].sum() < 0.95 * gone["defect"].sum()


@pytest.mark.parametrize("count", [1, 2, 3, 100])
def test_ends_are_the_quantiles_of_the_draws(count):
    drawn = np.sort(np.random.default_rng(count).random((4, 3, count)).astype(np.float32), axis=-1)
    expected = np.quantile(drawn.astype(float), [0.05, 0.95], axis=-1)
    assert np.stack(_ends(drawn, 0.9)) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("rate", [1e-6, 2e-4, 1e-2])
def test_in_single_precision_it_is_heard_of_as_in_double(rate):
    rise = np.sort(np.random.default_rng(3).random((5, 2, len(GRID))), axis=-1)
    km = np.tile([3.0, 700.0, 4_400.0, 15_000.0], (5, 1))
    single, double = (
        heard_ahead(GRID, rise.astype(kind), np.full(2, rate), km) for kind in ("f4", "f8")
    )
    assert single.heard.dtype == np.float32
    assert single.heard == pytest.approx(double.heard, abs=3e-7)
    assert single.defect == pytest.approx(double.defect, abs=3e-7)
