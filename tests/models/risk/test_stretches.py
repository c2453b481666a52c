import numpy as np
import pandas as pd
import pytest

from models.risk.assumed import READING_SDS
from models.risk.stretches import (
    FEWEST_READINGS,
    NAMES,
    STALE_KM,
    WearTrend,
    last_departures,
    stretches_of,
)


def readings(life, km, roughness, *, passed=True, checks=0):
    n = len(km)
    return pd.DataFrame(
        {
            "life_id": np.broadcast_to(life, n),
            "read_km": np.asarray(km, dtype=float),
            "roughness_pct": np.asarray(roughness, dtype=float),
            "roughness_z": np.full(n, np.nan),
            "checks_out_of_band": np.broadcast_to(checks, n),
            "passed": np.broadcast_to(passed, n),
        }
    )


@pytest.fixture(scope="module")
def fleet():
    """A trend that doubles over 40,000 km, with a log spread of 0.3."""
    rng = np.random.default_rng(2)
    km = rng.uniform(0, 40_000, 400)
    roughness = 0.04 * np.exp(np.log(2) * km / 40_000 + 0.3 * rng.standard_normal(400))
    return readings("F", km, roughness - 0.01)


def column(stretches, name):
    k = NAMES.index(name)
    return stretches.columns[:, k] / READING_SDS[k]


def one_life(good_km):
    return pd.DataFrame({"life_id": ["A"], "good_km": [float(good_km)]})


def test_departures_are_from_the_trend_at_that_km(fleet):
    trend = WearTrend().fit(fleet)
    level = trend.departures(fleet)
    young = fleet["read_km"] < 10_000
    assert abs(level[young].mean()) < 0.2
    assert abs(level[~young].mean()) < 0.2
    assert level.std() == pytest.approx(1.0, abs=0.15)
    same = readings("A", [2_000, 38_000], [0.06, 0.06])
    early, late = trend.departures(same)
    assert early > late + 1.5


def test_few_readings_make_no_trend(fleet):
    few = fleet.head(FEWEST_READINGS - 1)
    assert np.isnan(WearTrend().fit(few).departures(few)).all()


def test_a_reading_counts_from_its_test_on_and_grows_stale(fleet):
    trend = WearTrend().fit(fleet)
    one = readings("A", [12_000.0], [0.15])
    cut = stretches_of(one_life(12_000), one, trend)
    assert cut.start_km.tolist() == [-np.inf, 12_000, *(12_000 + s for s in STALE_KM)]
    assert cut.end_km.tolist() == [*cut.start_km[1:], np.inf]
    level = trend.departures(one)[0]
    assert level > 2
    assert column(cut, "fresh") == pytest.approx([0, level, 0, 0])
    assert column(cut, "stale") == pytest.approx([0, 0, level, 0])
    assert column(cut, "old") == pytest.approx([0, 0, 0, level])
    assert column(cut, "high") == pytest.approx([0, *[level - 1] * 3])
    assert last_departures(one_life(12_000), one, trend) == pytest.approx([level])


def test_growth_is_from_the_mean_of_earlier_readings(fleet):
    trend = WearTrend().fit(fleet)
    some = readings("A", [1_000, 3_000, 5_000], [0.03, 0.03, 0.12])
    level = trend.departures(some)
    cut = stretches_of(one_life(5_000), some, trend)
    assert column(cut, "growth")[3] == pytest.approx(level[2] - level[:2].mean(), abs=0.13)
    assert column(cut, "growth")[1] == 0


def test_what_tells_nothing_leaves_the_last_reading_to_grow_stale(fleet):
    trend = WearTrend().fit(fleet)
    some = readings("A", [1_000, 3_000, 6_000], [0.09, np.nan, np.nan], checks=[0, 1, 0])
    cut = stretches_of(one_life(6_000), some, trend)
    assert cut.start_km.tolist() == [-np.inf, 1_000, 3_000, 5_000, 6_000, 11_000]
    level = trend.departures(some)[0]
    assert column(cut, "stale")[3:5] == pytest.approx([level, level])
    assert column(cut, "old")[5] == pytest.approx(level)
    assert column(cut, "checks").tolist() == [0, 0, 1, 1, 0, 0]


def test_only_good_tests_up_to_the_last_good_one_count(fleet):
    trend = WearTrend().fit(fleet)
    some = pd.concat(
        [
            readings("A", [2_000.0], [0.2], passed=False),
            readings("A", [9_000.0], [0.2]),
            readings("B", [1_000.0], [0.2]),
        ]
    )
    cut = stretches_of(one_life(5_000), some, trend)
    assert cut.start_km.tolist() == [-np.inf]
    assert not cut.columns.any()
    assert np.isnan(last_departures(one_life(5_000), some, trend)).all()


def test_lives_are_taken_in_any_order(fleet):
    trend = WearTrend().fit(fleet)
    lives = pd.DataFrame({"life_id": ["A", "B", "C"], "good_km": [9_000.0] * 3})
    some = pd.concat([readings("A", [2_000.0], [0.1]), readings("C", [4_000.0], [0.3])])
    cut = stretches_of(lives, some, trend)
    turned = cut.take(np.array([2, 0]))
    again = stretches_of(lives.iloc[[2, 0]].reset_index(drop=True), some, trend)
    assert turned.life.tolist() == again.life.tolist()
    assert turned.start_km.tolist() == again.start_km.tolist()
    assert turned.columns == pytest.approx(again.columns)
