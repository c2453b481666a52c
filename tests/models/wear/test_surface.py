import numpy as np
import pandas as pd
import pytest
from sklearn.base import clone

from models.wear import surface, totals
from models.wear.records import WearError
from models.wear.surface import WearSurface
from tests.models.wear.simulated_wear import Truth, simulate_wear


def even_fleet(curve, sensors=200, seed=0, exposure=6.0):
    """Sensors whose drop-outs are independent, intensity ``curve`` (parts, 50)."""
    rng = np.random.default_rng(seed)
    part = rng.integers(0, len(curve), sensors)
    X = pd.DataFrame(
        {
            "sensor_id": [f"S{k}" for k in range(sensors)],
            "part_no": [f"P{p}" for p in part],
            "duty": "any",
            "sensor_age_km": rng.uniform(0, 50_000, sensors),
        }
    )
    seen = np.full((sensors, 50), exposure)
    return X, rng.poisson(curve[part] * seen).astype(float), seen


def ask(part="P0", age=25_000.0, duty="any"):
    return pd.DataFrame({"part_no": [part], "duty": [duty], "sensor_age_km": [age]})


def humps(*centres):
    middle = np.arange(50) * 2 + 1.0
    return 0.02 + sum(0.6 * np.exp(-(((middle - c) / 5.0) ** 2)) for c in centres)


@pytest.mark.parametrize("centres", [(40.0,), (20.0, 70.0), (0.0,), (100.0,), (0.0, 100.0)])
def test_one_hump_two_humps_and_edges_are_followed(centres):
    X, y, seen = even_fleet(humps(*centres)[None, :], sensors=400)
    curve = WearSurface(groups=()).fit(X, y, seen).predict(ask())[0]
    truth = humps(*centres)
    assert np.abs(np.log(curve / truth))[truth > 0.1].max() < 0.35
    for centre in centres:
        near = slice(max(0, int(centre / 2) - 3), int(centre / 2) + 4)
        assert curve[near].max() > 8 * np.median(curve)


def test_an_unseen_bin_is_not_a_clean_bin():
    X, y, seen = even_fleet(np.full((1, 50), 0.3))
    y[:, 35:], seen[:, 35:] = 0.0, 0.0
    model = WearSurface(groups=()).fit(X, y, seen)
    curve, error = model.predict(ask())[0], model.log_error(ask())[0]
    assert curve[40:].min() > 0.1  # not drawn to nothing
    assert error[45] > 3 * error[15]  # but not known either


def test_exposure_is_an_offset():
    X, y, seen = even_fleet(humps(30.0)[None, :])
    once, twice = (WearSurface(groups=(), design_effect=1.0).fit(X, y, f * seen) for f in (1, 2))
    assert once.predict(ask()) == pytest.approx(2 * twice.predict(ask()), rel=0.02)


def test_a_part_with_few_sensors_is_drawn_to_the_fleet():
    curve = np.stack([humps(30.0), humps(60.0)])
    X, y, seen = even_fleet(curve, sensors=300)
    many = WearSurface(groups=(("part_no",),)).fit(X, y, seen)
    assert many.predict(ask("P1"))[0].argmax() == pytest.approx(30, abs=2)
    keep = (X["part_no"] == "P0").to_numpy().copy()
    keep[np.flatnonzero(~keep)[:2]] = True
    few = WearSurface(groups=(("part_no",),)).fit(X[keep], y[keep], seen[keep])
    apart = [
        np.abs(np.log(m.predict(ask("P1")) / m.predict(ask("P0")))).mean() for m in (few, many)
    ]
    assert apart[0] < apart[1]


def test_a_part_never_seen_or_blank_duty_follows_the_fleet():
    X, y, seen = even_fleet(np.stack([humps(30.0), humps(60.0)]))
    model = WearSurface().fit(X, y, seen)
    new = model.predict(ask("other", duty=None))
    assert np.isfinite(new).all()
    assert new == pytest.approx(model.predict(ask("another", duty="unheard of")))


def test_intensity_grows_with_age_where_it_does():
    X, y, seen = even_fleet(np.full((1, 50), 0.5), sensors=300)
    keep = np.random.default_rng(1).binomial(
        y.astype(int), (X["sensor_age_km"].to_numpy() / 50_000)[:, None]
    )
    model = WearSurface(groups=()).fit(X, keep.astype(float), seen)
    young, old = (model.predict(ask(age=a)).mean() for a in (8_000.0, 45_000.0))
    assert old / young == pytest.approx(45 / 8, rel=0.35)


def test_sensors_that_cluster_widen_the_interval():
    X, y, seen = even_fleet(np.full((1, 50), 0.1), sensors=120, seed=2)
    lumps = np.zeros_like(y)
    rng = np.random.default_rng(3)
    for k in rng.choice(120, 15, replace=False):
        lumps[k, rng.integers(2, 48)] = y.sum() / 15
    loose, tight = (WearSurface(groups=()).fit(X, v, seen) for v in (lumps, y))
    assert loose.log_error(ask()).mean() > 2 * tight.log_error(ask()).mean()
    assert loose.design_effect_.mean() > 10 * tight.design_effect_.mean()


def test_intervals_hold_the_population_in_simulated_fleets():
    truth = Truth()
    large = simulate_wear(20_000, 1, truth)
    tests = large.records.tests
    chosen = (
        (tests["part_no"] == "LN-72")
        & (tests["duty"] == "courier")
        & tests["sensor_age_km"].between(27_000, 33_000)
    )
    true = large.expected[chosen.to_numpy()].mean(axis=0)
    held = []
    for seed in range(5):
        records = simulate_wear(100, 80_000 + seed, truth).records
        model = WearSurface().fit(records.tests, records.counts, records.exposure)
        low, high = model.predict_interval(ask("LN-72", 30_000.0, "courier"))
        held.append(((low <= true) & (true <= high)).mean())
    assert 0.75 < np.mean(held) <= 1.0  # tests.bench.wear_bench counts it over a thousand fleets


def test_roughness_is_a_gamma_mean():
    rng = np.random.default_rng(4)
    X, _, _ = even_fleet(np.ones((1, 50)), sensors=80)
    truth = 1.0 + humps(50.0)
    y = truth * rng.gamma(25.0, 1 / 25.0, (80, 50))
    y[:, :3] = np.nan
    model = WearSurface("gamma", groups=()).fit(X, y)
    assert model.predict(ask())[0, 4:] == pytest.approx(truth[4:], rel=0.06)
    low, high = model.predict_interval(ask())
    assert ((low < truth) & (truth < high))[0, 4:].mean() > 0.7


def test_nothing_seen_is_an_error_and_a_clone_is_as_new():
    X, y, seen = even_fleet(np.ones((1, 50)), sensors=5)
    with pytest.raises(WearError, match="could have shown"):
        WearSurface().fit(X, y, 0 * seen)
    with pytest.raises(WearError, match="exposure"):
        WearSurface().fit(X, y)
    model = WearSurface(n_age=2)
    assert clone(model).get_params() == model.get_params()


def test_no_drop_out_at_all_still_maps():
    X, y, seen = even_fleet(np.ones((1, 50)), sensors=20)
    model = WearSurface().fit(X, 0 * y, seen)
    low, high = model.predict_interval(ask())
    assert (model.predict(ask()) < 0.01).all()
    assert np.isfinite(high).all()
    assert (low <= high).all()


def test_however_many_tests_are_summed_at_a_time(monkeypatch):
    records = simulate_wear(60, 73_040, Truth()).records
    records.tests.loc[0, "duty"] = None

    def both():
        drops = WearSurface().fit(records.tests, records.counts, records.exposure)
        return drops, WearSurface("gamma").fit(records.tests, records.roughness)

    whole = both()
    monkeypatch.setattr(totals, "TESTS_AT_ONCE", 7)
    monkeypatch.setattr(surface, "TESTS_AT_ONCE", 7)
    monkeypatch.setattr(surface, "_SCORES_AT_ONCE", 1)
    parts = both()
    for name in ("base_", "beta_", "covariance_", "design_effect_", "n_sensors_with_"):
        assert np.array_equal(getattr(parts[0], name), getattr(whole[0], name)), name
        # the squares that roughness is off by are summed part by part
        assert getattr(parts[1], name) == pytest.approx(getattr(whole[1], name), rel=1e-9), name
    assert parts[0].strays_ == whole[0].strays_
