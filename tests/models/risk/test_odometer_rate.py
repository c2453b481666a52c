from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate
from scipy.special import polygamma
from scipy.stats import norm

from models.frames import FrameError
from models.risk.odometer_rate import (
    ASSUMED_KM_PER_DAY,
    _mean_decay,
    _self_correlation,
    km_ahead,
    riding_of,
    riding_rates,
)
from models.risk.odometer_stretches import ODOMETER_READINGS, OdometerError, bike_readings

START = pd.Timestamp("2022-01-01")
Z = norm.ppf([0.05, 0.5, 0.95])


def readings(unit, days, km, ridden_as=None):
    return pd.DataFrame(
        {
            "unit_id": unit,
            "read_on": START + pd.to_timedelta(days, unit="D"),
            "odometer_km": np.asarray(km, dtype=float),
            "ridden_as": ridden_as,
        }
    )


def steady(unit, km_per_day, days=range(0, 721, 30), ridden_as=None):
    return readings(unit, list(days), km_per_day * np.asarray(list(days)), ridden_as)


def day(number):
    return (START + pd.Timedelta(days=number)).date()


def simulated_fleet(bikes, seed, *, lumps=8.0, drift=0.1, half_life=180.0, level=0.35, days=1_000):
    """Readings every 30 to 120 days, some bikes unread for long, and the true daily odometer."""
    rng = np.random.default_rng(seed)
    keep = 0.5 ** (1 / half_life)
    walk = np.empty((bikes, days + 180))
    walk[:, 0] = rng.normal(0, np.sqrt(drift), bikes)
    for t in range(1, walk.shape[1]):
        walk[:, t] = keep * walk[:, t - 1] + rng.normal(0, np.sqrt(drift * (1 - keep**2)), bikes)
    group = rng.integers(2, size=bikes)
    own = np.log(20) + 0.7 * (group - 0.5) + rng.normal(0, np.sqrt(level), bikes)
    mean = np.exp(own[:, None] + walk)
    odometer = np.cumsum(mean * rng.gamma(1 / lumps, lumps, walk.shape), axis=1)
    rows = []
    for bike in range(bikes):
        last = days - 1 - rng.integers(0, 600 if rng.random() < 0.3 else 40)
        read = rng.integers(0, days // 3) + np.cumsum(rng.integers(30, 120, 40))
        read = read[read <= last]
        rows.append(readings(f"U{bike}", read, odometer[bike, read], f"G{group[bike]}"))
    return pd.concat(rows), odometer, days - 1


def test_a_steady_bike_goes_on_as_it_was_ridden():
    riding = riding_rates(pd.concat([steady(f"U{k}", 10.0 + k) for k in range(30)]), day(720))
    bike = riding.rates.set_index("unit_id").loc["U20"]
    assert bike["km_per_day"] == pytest.approx(30.0, rel=0.03)
    assert bike["own_share"] > 0.9
    assert not bike["odometer_stale"]
    ahead = km_ahead(riding, pd.Series(["U20"]), [100.0], Z)[0, 0]
    assert ahead[1] == pytest.approx(3_000, rel=0.03)
    assert 0.7 * ahead[1] < ahead[0] < ahead[1] < ahead[2] < 1.4 * ahead[1]


def test_recent_readings_weigh_more_by_the_half_life():
    """360 days at 10 km a day, then 180 at 40: weights 1/2 + 1/4 of a half-life against 1."""
    frame = readings("U", [0, 180, 360, 540], [0, 1_800, 3_600, 10_800])
    riding = riding_rates(frame, day(540))
    weight = np.array([0.25, 0.5, 1.0])
    expected = weight @ [10, 10, 40] / weight.sum()
    lumps = riding.spread.lumps * (weight**2).sum() / (180 * weight.sum() ** 2)
    correction = lumps / 2  # to the first order
    assert riding.summed["log_rate"].iloc[0] == pytest.approx(
        np.log(expected) + correction, abs=0.005
    )


def test_variance_and_recall_are_those_of_the_drift_as_integrated():
    frame = readings("U", [0, 50, 210, 300], [0, 600, 1_900, 3_300])
    spread = riding_rates(frame, day(400)).spread
    decay = spread.decay
    edges = np.array([0.0, 50, 210, 300])
    days = np.diff(edges)
    weight = np.array(
        [
            integrate.quad(lambda s: np.exp(-decay * (300 - s)), *edges[k : k + 2])[0]
            for k in range(3)
        ]
    )
    density = weight / weight.sum() / days

    def at(s):
        return density[np.clip(np.searchsorted(edges, s) - 1, 0, 2)]

    grid = np.arange(0.25, 300, 0.5)
    share = at(grid) * 0.5
    drift = share @ np.exp(-decay * np.abs(grid[:, None] - grid)) @ share
    recall = share @ np.exp(-decay * (300 - grid))
    summed = riding_rates(frame, day(400)).summed.iloc[0]
    k = 1 / (spread.lumps * (density**2 * days).sum())
    assert summed["recall"] == pytest.approx(recall, rel=1e-4)
    assert summed["variance"] == pytest.approx(spread.drift * drift + polygamma(1, k), rel=1e-4)


@given(st.floats(1e-9, 2_000), st.floats(1e-4, 0.1))
def test_means_over_a_stretch_are_shares(days, decay):
    near, own = _mean_decay(days, decay), _self_correlation(days, decay)
    assert 0 < near <= 1
    assert near**2 <= own + 1e-12 <= 1 + 2e-12


def test_without_readings_a_bike_is_ridden_as_its_group_is():
    frame = pd.concat(
        [steady(f"A{k}", 10.0, ridden_as="town") for k in range(40)]
        + [steady(f"B{k}", 80.0, ridden_as="parcels") for k in range(40)]
        + [readings("new", [700], [12.0], "parcels")]
    )
    riding = riding_rates(frame, day(720))
    new = riding.rates.set_index("unit_id").loc["new"]
    assert new["own_share"] == 0
    assert new["km_per_day"] == pytest.approx(76.0, rel=0.1)
    assert "its own readings are too few" in new["words"]
    unknown = km_ahead(riding, pd.Series(["nobody", "new"]), [30.0], Z)[:, 0]
    assert 10 * 30 < unknown[0, 1] < unknown[1, 1]


def test_with_no_rate_at_all_the_assumed_one_stands():
    riding = riding_rates(readings("U", [0], [500.0]), day(10))
    assert np.exp(riding.summed["middle"].iloc[0]) == pytest.approx(ASSUMED_KM_PER_DAY)
    none = riding_rates(ODOMETER_READINGS.empty(), day(10))
    assert none.rates.empty
    assert km_ahead(none, pd.Series(["U"]), [30.0], Z)[0, 0, 2] > 0


def test_the_longer_unread_the_less_is_known():
    fleet = [steady(f"U{k}", km) for k, km in enumerate(np.geomspace(8, 60, 25))]
    one = steady("X", 60.0)
    rows = [
        riding_rates(pd.concat([*fleet, one]), day(720 + gap)).rates.set_index("unit_id").loc["X"]
        for gap in (0, 60, 200, 800)
    ]
    width = [np.log(row["km_per_day_high"] / row["km_per_day_low"]) for row in rows]
    assert sorted(width) == width
    assert width[-1] > width[0]
    assert [row["own_share"] for row in rows] == sorted(
        (r["own_share"] for r in rows), reverse=True
    )
    assert [bool(row["odometer_stale"]) for row in rows] == [False, False, True, True]
    assert "last read 800 days ago" in rows[-1]["words"]
    assert [row["days_since_reading"] for row in rows] == [0, 60, 200, 800]
    assert rows[0]["km_since_reading"] == 0


def test_a_bike_that_stands_still_is_not_ridden_as_the_others_are():
    frame = pd.concat([*(steady(f"U{k}", 30.0) for k in range(20)), steady("X", 0.0)])
    rate = riding_rates(frame, day(720)).rates.set_index("unit_id")["km_per_day"]
    assert rate["X"] < 0.1 * rate["U1"]


def test_no_days_are_no_km():
    riding = riding_rates(steady("U", 20.0), day(720))
    assert np.array_equal(km_ahead(riding, pd.Series(["U"]), [0.0], Z), np.zeros((1, 1, 3)))


def test_a_reading_that_runs_backwards_is_named():
    with pytest.raises(OdometerError, match=r"U: 90 km on 2022-02-10, expected at least the 100"):
        riding_rates(readings("U", [0, 40], [100, 90]), day(50))


def test_a_frame_without_the_columns_is_refused():
    with pytest.raises(FrameError, match="odometer_km"):
        riding_rates(pd.DataFrame({"unit_id": ["U"], "read_on": [START]}), day(1))


def test_later_readings_and_the_order_of_rows_do_not_count():
    frame, _, today = simulated_fleet(20, 3)
    later = pd.concat([frame, readings("U0", [today + 30], [9e6])]).sample(frac=1, random_state=1)
    expected = riding_rates(frame, day(today)).rates
    pd.testing.assert_frame_equal(riding_rates(later, day(today)).rates, expected)


@settings(max_examples=15)
@given(st.integers(0, 10_000), st.floats(0.1, 10))
def test_in_miles_the_rates_are_in_miles(seed, factor):
    frame, _, today = simulated_fleet(12, seed, days=400)
    scaled = frame.assign(odometer_km=frame["odometer_km"] * factor)
    one, other = riding_rates(frame, day(today)).rates, riding_rates(scaled, day(today)).rates
    for end in ("", "_low", "_high"):
        assert np.allclose(other[f"km_per_day{end}"], factor * one[f"km_per_day{end}"])
    assert np.allclose(other["own_share"], one["own_share"])
    assert (one["km_per_day_low"] <= one["km_per_day"]).all()
    assert (one["km_per_day"] <= one["km_per_day_high"]).all()


def test_the_spreads_are_found_again():
    frame, _, _ = simulated_fleet(400, 5, lumps=4.0, drift=0.15)
    riding = riding_rates(frame, day(999))
    assert riding.spread.lumps == pytest.approx(4.0, rel=0.3)
    assert riding.spread.drift == pytest.approx(0.15, rel=0.5)
    assert riding.spread.level == pytest.approx(0.35, rel=0.35)


def test_intervals_hold_the_km_they_are_meant_to():
    held = []
    for seed in range(6):
        frame, odometer, today = simulated_fleet(150, seed)
        riding = riding_rates(frame, day(today))
        units = riding.rates["unit_id"]
        bike = units.str[1:].astype(int).to_numpy()
        ahead = km_ahead(riding, units, [30.0, 90.0, 180.0], Z)
        true = odometer[bike][:, today + np.array([30, 90, 180])] - odometer[bike][:, [today]]
        held.append(((true >= ahead[..., 0]) & (true <= ahead[..., 2])).mean(axis=0))
    assert np.abs(np.mean(held, axis=0) - 0.9).max() < 0.05


def test_one_stretch_says_nothing_of_drift_and_the_assumed_spreads_stand():
    riding = riding_rates(readings("U", [0, 100], [0, 2_000]), day(100))
    assert riding.spread.lumps == pytest.approx(8.0)
    assert riding.spread.drift == pytest.approx(0.1)
    never_twice = riding_rates(readings("U", [0], [500.0]), day(100))
    assert never_twice.summed["log_rate"].isna().all()
    assert never_twice.spread.lumps == pytest.approx(8.0)


def test_the_same_day_read_twice_counts_once_by_the_higher():
    twice = readings("U", [0, 100, 100], [0, 1_990, 2_000])
    once = readings("U", [0, 100], [0, 2_000])
    assert riding_rates(twice, dt.date(2022, 6, 1)).rates.equals(
        riding_rates(once, dt.date(2022, 6, 1)).rates
    )


def test_bikes_that_come_by_and_by_are_ridden_as_when_all_come_at_once():
    frame, _, today = simulated_fleet(40, 3)
    units = sorted(frame["unit_id"].unique())
    whole = riding_rates(frame, day(today))
    for size in (1, 7, 39):
        some = (units[at : at + size] for at in range(0, len(units), size))
        parts = (bike_readings(frame[frame["unit_id"].isin(names)]) for names in some)
        found = riding_of(parts, day(today))
        assert found.spread == whole.spread
        pd.testing.assert_frame_equal(found.rates, whole.rates, check_exact=True)
        pd.testing.assert_frame_equal(found.summed, whole.summed, check_exact=True)
