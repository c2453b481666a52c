import numpy as np
import pandas as pd
import pytest

from models.wear.bands import WornBands
from models.wear.seen import in_life_order
from models.wear.sensor import RENEWAL_KM, SensorIntensity
from models.wear.surface import WearSurface
from tests.models.wear.conftest import fitted
from tests.models.wear.simulated_wear import Truth


@pytest.fixture(scope="module")
def sensors(followed):
    return SensorIntensity(followed.bands).fit(followed.records, followed.pooled)


@pytest.fixture(scope="module")
def own(sensors, followed):
    return sensors.own(followed.records, followed.pooled)


def test_a_life_never_swept_is_as_its_like(sensors, own):
    pooled = np.full((1, 50), 0.02)
    new = pd.DataFrame({"life_id": ["another"], "sensor_age_km": [1000.0]})
    assert sensors.predict(new, pooled, own) == pytest.approx(pooled)


def test_a_worn_sensor_goes_on_where_it_wears_and_gains_new_wear_with_km(sensors, own, followed):
    most = own.loc[own["level"].idxmax()]
    life = most["life_id"]
    pooled = np.full((2, 50), 0.02)
    ahead = pd.DataFrame(
        {"life_id": [life] * 2, "sensor_age_km": most["last_km"] + np.array([0.0, 20_000.0])}
    )
    now, later = sensors.predict(ahead, pooled, own)
    assert now.sum() == pytest.approx(sensors.kept_ * most["level"])
    assert later.sum() > now.sum()
    band = followed.found[followed.found["life_id"].eq(life)].iloc[-1]
    near = np.abs(np.arange(50) * 2 + 1 - band["peak_pct"]) <= 5.0
    assert now[near].sum() > 0.8 * now.sum()


def test_how_tests_follow_one_another_is_learnt(sensors):
    assert 0.5 < sensors.kept_ < 3.0  # spots multiply after the defect
    assert sensors.renewal_km_ != RENEWAL_KM


def test_with_few_tests_the_assumed_values_stand(followed):
    order, last = in_life_order(followed.records)
    once = order[last]
    few = SensorIntensity(followed.bands).fit(followed.records.take(once), followed.pooled[once])
    assert few.renewal_km_ == RENEWAL_KM


def test_pooled_beats_fleet_only_and_sensor_only_on_sensors_with_one_test():
    case = fitted(300, 71_000, Truth())
    tests = case.records.tests
    number = tests.groupby("sensor_id")["sensor_age_km"].rank().to_numpy()
    one = (pd.factorize(tests["sensor_id"])[0] % 2 == 0)  # fmt: skip
    known, held = case.records.take(~one | (number == 1)), case.records.take(one & (number == 2))
    surface = WearSurface().fit(known.tests, known.counts, known.exposure)
    fleet = WearSurface(groups=()).fit(known.tests, known.counts, known.exposure)
    pooled, strays = surface.predict_wear(known.tests), surface.strays_.rate
    bands = WornBands().fit(known, pooled, strays)
    order, last = in_life_order(known)
    at = pd.Series(order[last], index=known.tests["sensor_id"].iloc[order[last]])
    at = at[held.tests["sensor_id"]].to_numpy()
    ahead = surface.predict_wear(held.tests)
    sensors = SensorIntensity(bands).fit(known, pooled)
    own = sensors.own(known, pooled)
    guesses = {
        "pooled": sensors.predict(held.tests, ahead, own) + strays,
        "place": ahead.sum(axis=1, keepdims=True) * bands.own_share(known, pooled)[at] + strays,
        "fleet": fleet.predict(held.tests),
        "sensor": ((known.counts + 0.01) / (known.exposure + 1.0))[at],
    }
    height = {
        name: (held.counts * np.log(v) - held.exposure * v).sum() for name, v in guesses.items()
    }
    assert max(height, key=height.get) == "pooled"
