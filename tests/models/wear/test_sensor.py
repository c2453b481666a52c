import numpy as np
import pandas as pd
import pytest

from models.wear.bands import in_life_order
from models.wear.sensor import SensorIntensity, _nb_shape
from models.wear.surface import WearSurface
from tests.models.wear.conftest import fitted
from tests.models.wear.simulated_wear import Truth


def rows(n, age=1000.0):
    return pd.DataFrame({"sensor_id": [f"S{k}" for k in range(n)], "sensor_age_km": age})


def test_without_drop_outs_and_passes_a_sensor_is_as_its_like():
    pooled = np.tile(np.linspace(0.01, 0.05, 50), (3, 1))
    model = SensorIntensity(shape=0.5).fit(rows(3), 0 * pooled, 0 * pooled, pooled)
    assert model.predict(rows(3), pooled) == pytest.approx(pooled, rel=0.15)


def test_much_evidence_speaks_for_itself_at_two_places():
    pooled = np.full((1, 50), 0.01)
    counts = np.zeros((1, 50))
    counts[0, 10], counts[0, 40] = 300.0, 150.0
    model = SensorIntensity(shape=0.5).fit(rows(1), counts, np.full((1, 50), 100.0), pooled)
    own = model.predict(rows(1), pooled)[0]
    assert own[8:13].sum() == pytest.approx(3.0, rel=0.1)
    assert own[38:43].sum() == pytest.approx(1.5, rel=0.1)
    assert own[20:30].sum() < 0.02


def test_a_sensor_never_seen_is_as_its_like():
    pooled = np.full((1, 50), 0.02)
    model = SensorIntensity(shape=0.5).fit(rows(1), 0 * pooled, pooled, pooled, 0.001)
    new = rows(1).assign(sensor_id="other")
    assert model.predict(new, pooled) == pytest.approx(pooled + 0.001)


def test_the_shape_of_the_spread_is_learnt():
    rng = np.random.default_rng(1)
    mean = rng.uniform(0.5, 3.0, 4000)
    count = rng.poisson(mean * rng.gamma(0.2, 1 / 0.2, 4000))
    assert _nb_shape(count.astype(float), mean) == pytest.approx(0.2, rel=0.15)


def test_pooled_beats_fleet_only_and_sensor_only_on_sensors_with_one_test():
    case = fitted(300, 71_000, Truth())
    tests = case.records.tests
    number = tests.groupby("sensor_id")["sensor_age_km"].rank().to_numpy()
    one = (pd.factorize(tests["sensor_id"])[0] % 2 == 0)  # fmt: skip
    known, held = case.records.take(~one | (number == 1)), case.records.take(one & (number == 2))
    surface = WearSurface().fit(known.tests, known.counts, known.exposure)
    fleet = WearSurface(groups=()).fit(known.tests, known.counts, known.exposure)
    pooled = surface.predict_wear(known.tests)
    share = case.bands.fit(known, pooled, surface.strays_.rate).own_share(known, pooled)
    order, last = in_life_order(known)
    at = pd.Series(order[last], index=known.tests["sensor_id"].iloc[order[last]])
    own = share[at[held.tests["sensor_id"]].to_numpy()]
    model = SensorIntensity().fit(
        known.tests, known.counts, known.exposure,
        pooled.sum(axis=1, keepdims=True) * share, surface.strays_.rate,
    )  # fmt: skip
    ahead = surface.predict_wear(held.tests).sum(axis=1, keepdims=True) * own
    rate = (known.counts + 0.01) / (known.exposure + 1.0)
    guesses = {
        "pooled": model.predict(held.tests, ahead),
        "fleet": fleet.predict(held.tests),
        "sensor": rate[at[held.tests["sensor_id"]].to_numpy()],
    }
    height = {
        name: (held.counts * np.log(v) - held.exposure * v).sum() for name, v in guesses.items()
    }
    assert height["pooled"] > height["fleet"]
    assert height["pooled"] > height["sensor"]
