import numpy as np
import pytest

from dashboard import look
from dashboard.charts.throttle_use import use_chart, use_reading
from dashboard.charts.wear_map import DROPOUTS, ROUGHNESS, map_reading, placed, wear_map_chart
from dashboard.charts.wear_sensor import TESTS_SHOWN, sensor_chart, sensor_reading
from tests.dashboard.charts.specs import data_of, layers_with, spec_of
from tests.dashboard.fake_wear import bands, cells, profiles, use
from tests.dashboard.test_look import contrast


def test_a_cell_without_evidence_has_no_ground_and_no_filling():
    spec = spec_of(wear_map_chart(cells(), DROPOUTS))
    for layer in layers_with(spec, "rect"):
        drawn = data_of(spec, layer)
        assert len(drawn) == 90
        assert max(row["bin_from_pct"] for row in drawn) < 90


def test_the_more_a_cell_is_worn_the_fuller_it_is_whatever_its_colour():
    frame = placed(cells(), DROPOUTS).dropna(subset=["value"])
    height = (frame["filled"] - frame["base"]).to_numpy()
    order = np.argsort(frame["value"].to_numpy(), kind="stable")
    assert (np.diff(height[order]) >= 0).all()
    worn = frame["step"].eq("3 to 10")
    assert frame.loc[worn, "bin_from_pct"].tolist() == [10.0, 12.0]
    assert height[worn].min() > 3 * height[~worn].max()
    assert (frame["filled"] <= frame["top"] + 1e-9).all()


@pytest.mark.parametrize("quantity", [DROPOUTS, ROUGHNESS])
def test_every_step_has_its_word_and_its_colour(quantity):
    assert len(quantity.words()) == len(set(quantity.words())) == len(look.WEAR_STEPS)


@pytest.mark.parametrize("theme", [0, 1])
@pytest.mark.parametrize("colour", look.WEAR_STEPS)
def test_fillings_stand_out_in_both_themes(colour, theme):
    assert contrast(colour, look.PAGE["ground"][theme]) >= 3  # WCAG 2.2, 1.4.11


def test_rows_are_named_by_distance_and_number_of_sensors():
    axis = spec_of(wear_map_chart(cells(), DROPOUTS))["layer"][0]["encoding"]["y"]["axis"]
    assert axis["labelExpr"].startswith('[["0 to 10 (12)"], ["10 to 20 (12)"]]')
    assert axis["values"] == [0.5, 1.5]


def test_the_map_s_reading_names_place_distance_range_and_n():
    assert map_reading(cells(), DROPOUTS) == (
        "Drop-outs are expected most between 10 and 12 % of travel after 10,000 to 20,000 km: "
        "5 in 100 passes, likely 2.5 to 10 (12 sensors); over the whole map typically 0.1. "
        "10 of 100 cells are bare: too little was seen there."
    )


def test_a_map_without_any_evidence_says_that_it_is_not_clean():
    nothing = cells(blank_from_pct=0.0)
    assert "Not seen is not clean" in map_reading(nothing, DROPOUTS)
    spec = spec_of(wear_map_chart(nothing, DROPOUTS))
    assert all(data_of(spec, layer) == [] for layer in layers_with(spec, "rect"))


def test_a_sensor_s_tests_stand_in_order_of_time_the_latest_on_top():
    frame = profiles(TESTS_SHOWN + 2)
    spec = spec_of(sensor_chart(frame, bands()))
    line = data_of(spec, layers_with(spec, "rule")[0])
    by_row = {row["row"]: row["sensor_age_km"] for row in line}
    assert len(by_row) == TESTS_SHOWN
    assert [by_row[row] for row in sorted(by_row)] == sorted(by_row.values())
    assert max(by_row.values()) == frame["sensor_age_km"].max()


def test_only_cells_above_the_fleet_s_range_are_filled():
    spec = spec_of(sensor_chart(profiles(), bands()))
    fleet, above, unseen = (data_of(spec, layer) for layer in layers_with(spec, "rect"))
    assert len(fleet) == 100
    assert [row["bin_from_pct"] for row in above] == [10.0]
    assert [row["bin_from_pct"] for row in unseen] == [0.0, 98.0, 0.0, 98.0]


def test_only_a_band_as_likely_as_not_is_underlined():
    spec = spec_of(sensor_chart(profiles(), bands()))
    underlined = data_of(spec, layers_with(spec, "rule")[1])
    assert [row["session_id"] for row in underlined] == ["T-001"]
    unlikely = bands().assign(confidence=0.4)
    assert len(layers_with(spec_of(sensor_chart(profiles(), unlikely)), "rule")) == 1


def test_the_sensor_s_reading_says_what_chance_alone_would_show():
    assert sensor_reading(profiles()) == (
        "2 tests shown, the latest at the top. In the last one roughest between 10 and 12 % of "
        "travel, at 2.5 times its middle cell (sensors that passed: up to 1.2 there); 3 drop-outs "
        "seen. 1 cell could not have shown any. 1 cell of 48 above the range of sensors that "
        "passed; chance alone puts about 2 there."
    )
    alone = sensor_reading(profiles(fleet=False))
    assert "too few sensors of its part passed to compare with" in alone
    assert "chance alone" not in alone


def test_dwell_and_sliding_are_drawn_where_a_ride_was_logged_only():
    def lines(logged):
        spec = spec_of(use_chart(use(logged)))
        return {row["what"] for row in data_of(spec, layers_with(spec, "line")[0])}

    assert lines(True) == {"this sensor's wear", "time held (log)", "travel moved (log)"}
    assert lines(False) == {"this sensor's wear"}


def test_each_line_has_a_dash_of_its_own():
    encoding = layers_with(spec_of(use_chart(use())), "line")[0]["encoding"]
    dashes = [tuple(dash) for dash in encoding["strokeDash"]["scale"]["range"]]
    assert len(set(dashes)) == 3


def test_the_reading_of_use_names_the_three_places():
    reading = use_reading(use())
    for place in ("6 and 8 % (51 %)", "4 and 6 % (23 %)", "8 and 10 % (21 %)", "6 minutes"):
        assert place in reading
    assert use_reading(use(False)).endswith("No ride of this bike was logged.")
