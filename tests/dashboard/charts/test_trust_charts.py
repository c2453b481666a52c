"""The charts of the trust page, by their specification."""

import pandas as pd
import pytest

from dashboard.charts.calibration import EXPECTED, FOUND, calibration_chart
from dashboard.charts.survival import survival_chart
from tests.dashboard.charts.specs import data_of, layers_with, spec_of
from tests.dashboard.fake_trust import calibration, fleet_curve


def tenths() -> pd.DataFrame:
    return calibration().query("by == 'tenth'").reset_index(drop=True)


def test_expected_and_found_are_told_by_shape_and_word_as_well_as_colour():
    spec = spec_of(calibration_chart(tenths()))
    points = layers_with(spec, "point")
    assert len(points) == 2
    for layer in points:
        scale = layer["encoding"]["shape"]["scale"]
        assert scale["domain"] == [EXPECTED, FOUND]
        assert len(set(scale["range"])) == 2
        assert layer["encoding"]["color"]["scale"]["domain"] == scale["domain"]


def test_the_range_is_what_nine_in_ten_numbers_would_lie_in_and_never_below_nought():
    spec = spec_of(calibration_chart(tenths()))
    first, last = data_of(spec, layers_with(spec, "rule")[0])
    assert first["low"] == 0  # 2.0 less 1.645 times 1.4
    assert first["high"] == pytest.approx(2.0 + 1.645 * 1.4)
    assert last["low"] == pytest.approx(33.8 - 1.645 * 4.5)


def test_each_group_carries_its_count_and_groups_stay_in_their_order():
    spec = spec_of(calibration_chart(tenths()))
    layer = layers_with(spec, "rule")[0]
    names = [row["name"] for row in data_of(spec, layer)]
    assert names == ["0.1 to 0.6 (92)", "23.4 to 81 (93)"]
    assert layer["encoding"]["y"]["sort"] == names
    assert spec["title"]["subtitle"] == "n = 185 looks, 42 defects found"


def test_the_curve_is_dashed_where_no_sensor_so_old_was_watched():
    curve = fleet_curve().query("part_no == 'all'")
    spec = spec_of(survival_chart(curve))
    solid, dashed = layers_with(spec, "line")
    assert [row["age_km"] for row in data_of(spec, solid)] == [0, 20_000]
    assert [row["age_km"] for row in data_of(spec, dashed)] == [20_000, 40_000]
    assert dashed["mark"]["strokeDash"]
    assert spec["title"]["subtitle"][0] == "n = 7 defects, at most 10 sensors of an age"


def test_the_curve_s_axis_is_whole_and_its_band_holds_it():
    spec = spec_of(survival_chart(fleet_curve().query("part_no == 'all'")))
    band = layers_with(spec, "area")[0]
    assert band["encoding"]["y"]["scale"]["domain"] == [0, 100]
    for row in data_of(spec, band):
        assert row["survival_low"] <= row["survival"] <= row["survival_high"]
