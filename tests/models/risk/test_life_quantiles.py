from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.frames import FrameError
from models.risk.hazard import DefectHazard
from models.risk.life_quantiles import LIFE_QUANTILES, crossing_km, life_quantiles
from tests.models.risk.published_lives import (
    AUTOMOTIVE_FAILED,
    AUTOMOTIVE_RUNNING,
    MILEAGE_FAILED,
    NIST_FAILED,
    NIST_RUNNING,
    exact_lives,
)
from tests.models.risk.simulated_fleet import Truth, simulate

FREE = {"level_sd": 1e3, "slope_sd": 1e3, "group_sd": 1e-6, "repaired_sd": 1e-6}


@pytest.fixture(scope="module")
def windows():
    return simulate(500, 1)[0]


@pytest.fixture(scope="module")
def model(windows):
    return DefectHazard().fit(windows)


def found_of(table, by, name):
    rows = table[table["grouped_by"].eq(by) & table["group_name"].eq(name)]
    return rows.set_index("share_with_defect")


@pytest.mark.parametrize(
    ("failed", "running", "shape", "scale"),
    [
        # NIST/SEMATECH e-Handbook 8.4.1.2; hours
        (NIST_FAILED, NIST_RUNNING, 1.7208, 606.53),
        # sets of the `reliability` package with the Weibull fits that the checks name; miles
        (AUTOMOTIVE_FAILED, AUTOMOTIVE_RUNNING, 1.1544, 134_651.0),
    ],
)
def test_b10_of_published_weibull_sets_is_the_closed_form(failed, running, shape, scale):
    """B10 = scale (-ln 0.9)^(1/shape), and B50 likewise, where the records reach so far."""
    lives = exact_lives(failed, running)
    fitted = DefectHazard(baseline="log_km", n_cells=480, **FREE).fit(lives)
    rows = found_of(life_quantiles(fitted, lives, n_draws=50), "all", "all")
    for share in (0.1, 0.5):
        expected = scale * (-np.log(1 - share)) ** (1 / shape)
        assert rows.loc[share, "life_km"] == pytest.approx(expected, rel=0.01)
        assert rows.loc[share, "life_low_km"] < expected
        assert not rows.loc[share, "life_high_km"] < expected  # blank: beyond the records


def test_b50_of_a_complete_sample_is_its_median():
    """Spline on 100 failures: within the spread of a sample median, 1.25 s / sqrt(n)."""
    lives = exact_lives(MILEAGE_FAILED)
    fitted = DefectHazard(curve_scale_km=30_000.0, **FREE).fit(lives)
    row = found_of(life_quantiles(fitted, lives), "all", "all").loc[0.5]
    spread = 1.25 * np.std(MILEAGE_FAILED) / 10
    assert row["life_km"] == pytest.approx(np.median(MILEAGE_FAILED), abs=2 * spread)


def test_beyond_the_oldest_sensor_no_age_is_given():
    lives = exact_lives(NIST_FAILED, (500,) * 90)
    fitted = DefectHazard(baseline="log_km", **FREE).fit(lives)
    rows = found_of(life_quantiles(fitted, lives), "all", "all")
    assert not rows.loc[0.1, "beyond"]
    row = rows.loc[0.5]
    assert row["beyond"]
    assert row["life_km"] == row["life_low_km"] == row["oldest_km"] == 500
    assert np.isnan(row["life_high_km"])
    assert row["words"] == "B50 life: beyond the oldest sensor watched (500 km)."


def test_a_part_watched_for_less_is_given_up_to_its_own_oldest(windows):
    young = windows["part_no"].eq("P2")
    short = windows.assign(
        good_km=windows["good_km"].clip(upper=20_000).where(young, windows["good_km"])
    )
    keep = ~young | (windows["bad_km"].isna() & (windows["entry_km"] < 20_000))
    short = short[keep].reset_index(drop=True)
    rows = found_of(life_quantiles(DefectHazard().fit(short), short), "part_no", "P2")
    assert rows["oldest_km"].max() <= 20_000
    assert rows.loc[0.5, "beyond"]
    assert "of P2" in rows.loc[0.5, "words"]


def test_worse_parts_and_duties_have_shorter_lives(model, windows):
    table = life_quantiles(model, windows)
    parts = [found_of(table, "part_no", name).loc[0.1, "life_km"] for name in ("P0", "P1", "P2")]
    duties = [found_of(table, "duty", name).loc[0.1, "life_km"] for name in ("D0", "D1")]
    assert parts[0] > parts[2]
    assert duties[0] > duties[1]
    assert (table["life_low_km"] <= table["life_km"]).all()
    assert not (table["life_high_km"] < table["life_km"]).any()


def test_the_ages_are_those_of_the_curve(model, windows):
    """The curve of one part and duty, looked up at the age given, holds the share given."""
    one = windows[windows["part_no"].eq("P1") & windows["duty"].eq("D0")]
    row = found_of(life_quantiles(model, one, shares=(0.2,)), "all", "all").loc[0.2]
    survival = model.predict_survival(one.iloc[:1], np.array([[row["life_km"]]]))
    assert survival[0, 0] == pytest.approx(0.8, abs=0.002)


def test_intervals_hold_the_true_life():
    """Parts and duties in equal number: the truth is the mean of their curves."""
    truth, ages = Truth(), np.linspace(0, 110_000, 4_000)
    ratios = truth.ratio(*np.divmod(np.arange(6), 2))
    true = crossing_km(ages, truth.survival(ages, ratios[:, None]).mean(axis=0)[None], 0.1)[0]
    held = 0
    for seed in range(6):
        windows, _ = simulate(120, 50 + seed)
        fitted = DefectHazard().fit(windows)
        row = found_of(life_quantiles(fitted, windows), "all", "all").loc[0.1]
        held += row["life_low_km"] <= true <= row["life_high_km"]
    assert held >= 4


@given(st.floats(0.01, 0.95), st.floats(0.5, 4), st.floats(1e3, 1e5))
def test_a_weibull_curve_is_crossed_where_it_says(share, shape, scale):
    ages = scale * np.linspace(0, 1, 2_001) * 6 ** (1 / shape)
    survival = np.exp(-((ages / scale) ** shape))[None]
    expected = scale * (-np.log1p(-share)) ** (1 / shape)
    assert crossing_km(ages, survival, share)[0] == pytest.approx(expected, rel=0.01, abs=ages[1])


def test_a_curve_never_crossed_is_said_to_be():
    assert np.isinf(crossing_km(np.array([0.0, 10.0]), np.array([[1.0, 0.95]]), 0.1)[0])
    assert crossing_km(np.array([0.0, 10.0]), np.array([[1.0, 0.899999]]), 0.1)[0] == pytest.approx(
        10, rel=1e-4
    )


@pytest.mark.parametrize("shares", [(0.0,), (1.0,), (0.1, 50.0)])
def test_a_share_out_of_bounds_is_refused(model, windows, shares):
    with pytest.raises(ValueError, match="between 0 and 1"):
        life_quantiles(model, windows, shares=shares)


def test_no_lives_no_ages_and_missing_columns_are_named(model, windows):
    none = life_quantiles(model, windows.iloc[:0])
    assert none.empty
    assert list(none.columns) == LIFE_QUANTILES.names
    with pytest.raises(FrameError, match="good_km"):
        life_quantiles(model, windows.drop(columns="good_km"))


def test_lives_without_a_known_age_are_given_up_to_the_oldest_of_all(model, windows):
    unknown = windows.assign(age_known=False, part_no="P0")
    row = found_of(life_quantiles(model, unknown), "part_no", "P0").loc[0.5]
    assert row["oldest_km"] == model.edges_[-1]
    assert pd.notna(row["life_km"])
