import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.frames import FrameError
from models.statics.bands import (
    learn_bands,
    reading_values,
    with_maker_limits,
)
from models.statics.schemas import BANDS
from models.statics.tolerance import two_sided_factor

NO_LIMITS = {
    "supply_nominal_v": 5.0,
    "maker_closed_v_low": np.nan,
    "maker_closed_v_high": np.nan,
    "maker_open_v_low": np.nan,
    "maker_open_v_high": np.nan,
}


def good(values, part_no="P1", reading="track_ohm"):
    return pd.DataFrame(
        {
            "part_no": part_no,
            "sensor_id": [f"{part_no}-{number}" for number in range(len(values))],
            "reading": reading,
            "value": np.asarray(values, dtype=float),
        }
    )


def only(bands):
    assert len(bands) == 1
    return bands.iloc[0]


def parts(**limits):
    return pd.DataFrame([{"part_no": "P1", **NO_LIMITS, **limits}])


def test_few_sensors_give_no_range():
    band = only(learn_bands(good([4600, 4700, 4650, 4620])))
    assert np.isnan(band["low"])
    assert np.isnan(band["high"])
    assert band["method"] == "no range: 4 good sensors known, at least 5 needed"
    assert band["more_needed"] == 89


def test_some_sensors_give_a_normal_range_named_so():
    values = np.random.default_rng(1).normal(4600, 200, 30)
    band = only(learn_bands(good(values)))
    reach = two_sided_factor(30) * values.std(ddof=1)
    assert band["low"] == pytest.approx(values.mean() - reach)
    assert band["high"] == pytest.approx(values.mean() + reach)
    assert "normal curve assumed" in band["method"]
    assert "63 more needed" in band["method"]
    assert band["more_needed"] == 63


def test_enough_sensors_give_a_range_without_a_curve():
    values = np.random.default_rng(2).exponential(100, 93) + 4000
    band = only(learn_bands(good(values)))
    assert (band["low"], band["high"]) == (values.min(), values.max())
    assert "no curve assumed" in band["method"]
    assert band["more_needed"] == 0


def test_a_learned_range_holds_new_sensors_as_promised():
    """Of many fleets of 93 skewed sensors, 95 % have a range that holds 95 % of all."""
    rng = np.random.default_rng(3)
    fleets = pd.concat(good(rng.exponential(100, 93), f"P{fleet}") for fleet in range(200))
    bands = learn_bands(fleets, meter_reach={})
    held = np.exp(-bands["low"] / 100) - np.exp(-bands["high"] / 100) >= 0.95
    # 200 fleets: binomial spread of 1.5 points either way, doubled
    assert 0.91 <= np.mean(held) <= 0.99


def test_equal_values_give_no_normal_range():
    band = only(learn_bands(good([100.0] * 20, reading="open_pct")))
    assert np.isnan(band["low"])
    assert "spread is not known" in band["method"]


def test_upper_limit_only_where_less_is_never_a_fault():
    band = only(learn_bands(good(np.linspace(0.5, 4.0, 59), reading="smoothness_pct")))
    assert np.isnan(band["low"])
    assert band["high"] == 4.0
    assert band["more_needed"] == 0


def test_range_is_never_narrower_than_a_meter_can_tell():
    values = 0.8 + np.random.default_rng(4).normal(0, 1e-5, 20)
    band = only(learn_bands(good(values, reading="closed_ohm_ratio")))
    assert band["high"] - band["low"] == pytest.approx(0.01)
    assert "widened" in band["method"]
    bare = only(learn_bands(good(values, reading="closed_ohm_ratio"), meter_reach={}))
    assert bare["high"] - bare["low"] < 1e-3


def test_part_numbers_are_learned_apart():
    both = pd.concat([good(np.linspace(4500, 4700, 20)), good(np.linspace(900, 950, 20), "P2")])
    bands = learn_bands(both).set_index("part_no")
    assert bands.loc["P1", "low"] > bands.loc["P2", "high"]


def test_family_lends_ratios_and_never_ohms():
    rng = np.random.default_rng(5)
    few, many = rng.normal(0.2, 0.02, 3), rng.normal(0.2, 0.02, 40)
    frame = pd.concat(
        [
            good(few, "P1", "closed_ratio"),
            good(many, "P2", "closed_ratio"),
            good(few * 5000, "P1", "closed_ohm"),
            good(many * 5000, "P2", "closed_ohm"),
        ]
    )
    bands = learn_bands(frame, families={"P1": "F", "P2": "F"}).set_index(["part_no", "reading"])
    assert bands.loc[("P1", "closed_ratio"), "sensor_count"] == 43
    assert "pooled over 2 related part numbers" in bands.loc[("P1", "closed_ratio"), "method"]
    assert bands.loc[("P2", "closed_ratio"), "sensor_count"] == 40
    assert np.isnan(bands.loc[("P1", "closed_ohm"), "low"])


def test_two_values_of_a_sensor_are_refused():
    twice = pd.concat([good([4600.0]), good([4610.0])])
    with pytest.raises(FrameError, match="two values of track_ohm"):
        learn_bands(twice)


def test_an_endless_value_is_refused():
    with pytest.raises(FrameError, match="not finite"):
        learn_bands(good([4600.0, np.inf]))


def test_no_values_no_bands():
    assert learn_bands(good([])).empty


def test_makers_limits_stand_above_learned_ones():
    learned = learn_bands(good(np.linspace(0.4, 0.6, 20), reading="closed_v"))
    bands = with_maker_limits(learned, parts(maker_closed_v_low=0.45, maker_closed_v_high=0.55))
    bands = bands.set_index("reading")
    assert tuple(bands.loc["closed_v", ["low", "high"]]) == (0.45, 0.55)
    assert bands.loc["closed_v", "source"] == "maker"
    assert tuple(bands.loc["closed_ratio", ["low", "high"]]) == pytest.approx((0.09, 0.11))
    assert "open_v" not in bands.index


def test_a_side_the_maker_leaves_open_stays_learned():
    learned = learn_bands(good(np.linspace(0.4, 0.6, 20), reading="closed_v"))
    band = with_maker_limits(learned, parts(maker_closed_v_low=0.45)).set_index("reading")
    assert band.loc["closed_v", "low"] == 0.45
    assert band.loc["closed_v", "high"] == learned.loc[0, "high"]
    assert "upper limit learned" in band.loc["closed_v", "method"]


def test_a_learned_side_against_the_makers_is_dropped():
    learned = learn_bands(good(np.linspace(0.4, 0.6, 20), reading="closed_v"))
    band = with_maker_limits(learned, parts(maker_closed_v_low=0.9)).set_index("reading")
    assert band.loc["closed_v", "low"] == 0.9
    assert np.isnan(band.loc["closed_v", "high"])


def test_makers_limits_alone_make_a_band():
    bands = with_maker_limits(BANDS.empty(), parts(maker_open_v_low=4.2, maker_open_v_high=4.7))
    assert set(bands["reading"]) == {"open_v", "open_ratio"}


@given(
    values=st.lists(st.floats(-1e4, 1e4), min_size=0, max_size=130),
    maker=st.tuples(st.floats(0, 5), st.floats(0, 5)).map(sorted),
    given_sides=st.tuples(st.booleans(), st.booleans()),
)
@settings(max_examples=40)
def test_limits_are_in_order_and_makers_limits_hold(values, maker, given_sides):
    learned = learn_bands(good(values, reading="closed_v"))
    named = {
        f"maker_closed_v_{side}": limit
        for side, limit, on in zip(("low", "high"), maker, given_sides, strict=True)
        if on
    }
    bands = with_maker_limits(learned, parts(**named))
    known = bands.dropna(subset=["low", "high"])
    assert (known["low"] <= known["high"]).all()
    once_more = with_maker_limits(bands, parts(**named))
    pd.testing.assert_frame_equal(bands[["low", "high"]], once_more[["low", "high"]])
    own = bands[bands["reading"] == "closed_v"]
    for name, limit in named.items():
        assert (own[name.rsplit("_", 1)[1]] == limit).all()


def test_reading_values_works_out_ratios(bench_tests):
    long = reading_values(
        bench_tests(
            {
                "supply_v": 5.0,
                "closed_v": 0.5,
                "open_v": 4.5,
                "track_ohm": 4000.0,
                "closed_ohm": 800.0,
            }
        )
    )
    values = long.set_index("reading")["value"]
    assert values["closed_ratio"] == pytest.approx(0.1)
    assert values["open_ratio"] == pytest.approx(0.9)
    assert values["closed_ohm_ratio"] == pytest.approx(0.2)
    assert "open_ohm" not in values.index
    assert "supply_v" not in values.index
    assert dict(zip(long["reading"], long["unit"], strict=True))["track_ohm"] == "ohm"


def test_doubtful_readings_never_reach_the_good_ones(bench_tests):
    usual = {"track_ohm": 4000.0, "closed_ohm": 800.0, "open_ohm": 3200.0}
    exchanged = {"track_ohm": 4000.0, "closed_ohm": 3200.0, "open_ohm": 800.0}
    long = reading_values(
        bench_tests(
            *[usual] * 9, exchanged, {"track_ohm": 4.0}, {"supply_v": 5010.0, "closed_v": 0.5}
        )
    )
    doubtful = long[long["doubt"].fillna("") != ""]
    assert set(zip(doubtful["session_id"], doubtful["reading"], strict=True)) == {
        ("t9", "closed_ohm"),
        ("t9", "open_ohm"),
        ("t9", "closed_ohm_ratio"),
        ("t9", "open_ohm_ratio"),
        ("t10", "track_ohm"),
        ("t11", "closed_ratio"),
    }


def test_contactless_parts_give_no_resistances(bench_tests):
    long = reading_values(
        bench_tests({"kind": "contactless", "track_ohm": 4000.0, "closed_pct": 0.2})
    )
    assert long["reading"].tolist() == ["closed_pct"]


def test_an_endless_reading_is_left_out(bench_tests):
    assert reading_values(bench_tests({"track_ohm": np.inf})).empty
