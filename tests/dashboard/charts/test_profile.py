import pytest

from dashboard.charts.profile import (
    band_reading,
    dropouts_chart,
    dropouts_reading,
    earlier_reading,
    roughness_chart,
    roughness_reading,
)
from tests.dashboard.charts.specs import data_of, spec_of
from tests.dashboard.fake_views import profile, travel_band


def bars_and_blanks(chart) -> tuple[list[dict], list[dict]]:
    spec = spec_of(chart)
    bars, *blank = spec["layer"]
    return data_of(spec, bars), data_of(spec, blank[0]) if blank else []


def test_cells_without_evidence_are_drawn_apart_and_have_no_bar():
    bars, blanks = bars_and_blanks(roughness_chart(profile(50)))
    assert len(bars) == 48
    assert [row["bin_from_pct"] for row in blanks] == [96.0, 98.0]
    assert all(row["smoothness_pct"] is not None for row in bars)


def test_a_cell_that_no_pass_crossed_shows_no_count_of_nought():
    bars, blanks = bars_and_blanks(dropouts_chart(profile(50)))
    assert len(bars) == 49
    assert [row["bin_from_pct"] for row in blanks] == [98.0]


def test_a_blank_cell_is_a_dashed_frame_over_the_whole_height():
    blank = spec_of(roughness_chart(profile(50)))["layer"][1]
    assert blank["mark"]["strokeDash"] == [3, 3]
    assert "y" not in blank["encoding"]


@pytest.mark.parametrize("draw", [roughness_chart, dropouts_chart])
def test_travel_is_always_whole_and_named_with_its_unit(draw):
    for layer in spec_of(draw(profile(20).iloc[:5]))["layer"]:
        assert layer["encoding"]["x"]["scale"]["domain"] == [0, 100]
        assert layer["encoding"]["x"]["title"].endswith("% of travel")


def test_titles_say_the_unit_and_how_much_was_judged():
    title = spec_of(roughness_chart(profile(50)))["title"]
    assert title["text"].endswith("output smoothness, % of applied")
    assert title["subtitle"] == "n = 48 of 50 cells of travel; dashed: no evidence"
    assert spec_of(dropouts_chart(profile(50)))["title"]["subtitle"] == "n = 2 drop-outs"


def test_the_readings_name_the_place_and_what_is_blank():
    assert roughness_reading(profile(50)) == (
        "Roughest between 22 and 24 % of travel, at 1.5 % of the applied; elsewhere typically 0.1 %; "
        "2 cells hold too few samples to judge."
    )
    assert dropouts_reading(profile(50)) == (
        "Counted by cell, 2 of 2 drop-outs lie between 22 and 24 % of travel. No pass crossed 1 "
        "cell of the travel."
    )


@pytest.mark.parametrize(
    ("counts", "said"),
    [
        ({9: 3, 11: 3}, "3 of 6 drop-outs each lie between 18 and 20 % and between 22 and 24 % of"),
        ({9: 1, 11: 1}, "No cell holds more than one of the 2 drop-outs placed on the travel."),
        ({1: 2, 9: 2, 11: 2, 20: 2}, "4 cells hold 2 each of the 8 drop-outs placed on the travel"),
    ],
)
def test_cells_equally_full_are_told_together(counts, said):
    rows = profile(50).assign(dropout_count=0, pass_count=6)
    for cell, count in counts.items():
        rows.loc[cell, "dropout_count"] = count
    assert said in dropouts_reading(rows)


def test_a_sweep_with_nothing_to_judge_says_so():
    blank = profile(10).assign(smoothness_pct=float("nan"), pass_count=0, dropout_count=0)
    bars, blanks = bars_and_blanks(roughness_chart(blank))
    assert (len(bars), len(blanks)) == (0, 10)
    assert "No cell" in roughness_reading(blank)
    assert dropouts_reading(blank).startswith("No drop-out could be placed")
    spec_of(dropouts_chart(blank))


def test_the_limit_of_good_sensors_is_a_line_over_the_cells():
    spec = spec_of(roughness_chart(profile(50), travel_band(50, high=0.4)))
    line = spec["layer"][-1]
    assert line["mark"]["type"] == "rule"
    assert len(data_of(spec, line)) == 50
    assert spec["title"]["subtitle"].endswith("line: upper limit of good sensors")
    assert "upper limit" not in spec_of(roughness_chart(profile(50)))["title"]["subtitle"]


def test_the_reading_says_where_the_profile_lies_above_the_limit():
    above = band_reading(profile(50), travel_band(50, high=0.4))
    assert above.startswith("1 cell above the upper limit of good sensors")
    assert "between 22 and 24 % of travel: 1.5 % where the limit is 0.4 %" in above
    within = band_reading(profile(50), travel_band(50, high=9.0))
    assert within.startswith("No judged cell lies above")
    assert "does not show that the sensor is sound" in within


def test_without_a_limit_the_reading_says_what_is_wanting():
    few = travel_band(50, high=float("nan")).assign(method="no range: 3 good sensors known")
    assert "not known yet: no range: 3 good sensors known." in band_reading(profile(50), few)
    assert band_reading(profile(50), few.iloc[:0]).endswith("is not known yet.")


def test_an_earlier_test_is_a_broken_line_told_from_the_limit_without_colour():
    before = profile(50).assign(smoothness_pct=0.2)
    spec = spec_of(roughness_chart(profile(50), travel_band(50, high=0.4), before))
    *_, earlier, limit = spec["layer"]
    assert earlier["mark"]["strokeDash"] == [5, 3]
    assert "strokeDash" not in limit["mark"]
    assert len(data_of(spec, earlier)) == 50
    assert spec["title"]["subtitle"][1] == "broken line: the earlier test"


def test_the_tallest_of_both_tests_fits_into_the_picture():
    before = profile(50).assign(smoothness_pct=9.0)
    spec = spec_of(roughness_chart(profile(50), None, before))
    assert spec["layer"][0]["encoding"]["y"]["scale"]["domain"][1] == pytest.approx(9.9)


@pytest.mark.parametrize(
    ("before", "said"),
    [
        (0.3, "1 of 48 cells judged in both tests are rougher than in the earlier one, most"),
        (9.0, "None of 48 cells judged in both tests is rougher than it was in the earlier one."),
        (float("nan"), "No cell of the travel was judged in both tests."),
    ],
)
def test_the_reading_says_what_changed_since_the_earlier_test(before, said):
    assert earlier_reading(profile(50), profile(50).assign(smoothness_pct=before)).startswith(said)
