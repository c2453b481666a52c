import math

import pytest

from dashboard.charts.over_travel import departure, passes_chart, passes_reading
from tests.dashboard.charts.specs import data_of, layers_with, spec_of
from tests.dashboard.fake_sweeps import passes

ENDS = (10.0, 90.0)


def test_each_pass_is_a_line_and_closing_ones_are_broken():
    spec = spec_of(passes_chart(passes(4), ends_pct=ENDS))
    (lines,) = layers_with(spec, "line")
    assert lines["encoding"]["detail"]["field"] == "pass_no"
    assert {row["pass_no"] for row in data_of(spec, lines)} == {1, 2, 3, 4}
    dash = lines["encoding"]["strokeDash"]["scale"]
    assert dash == {"domain": [0, 1], "range": [[1, 0], [7, 4]]}
    assert {(row["pass_no"], row["closing"]) for row in data_of(spec, lines)} == {
        (1, 0),
        (2, 1),
        (3, 0),
        (4, 1),
    }
    assert spec["title"]["subtitle"] == ["n = 4 passes; unbroken: opening; broken: closing"]


def test_an_earlier_test_lies_behind_broad_and_pale():
    spec = spec_of(passes_chart(passes(2), ends_pct=ENDS, earlier=passes(4)))
    behind, front = layers_with(spec, "line")
    assert behind["mark"]["strokeWidth"] > 2 * front["mark"]["strokeWidth"]
    assert behind["mark"]["opacity"] < 0.6
    assert "broad and pale: the earlier test" in spec["title"]["subtitle"]


@pytest.mark.parametrize(("enlarged", "low", "high"), [(False, [9.5, 89.5], [10.5, 90.5]),
                                                       (True, [-0.5, -0.5], [0.5, 0.5])])  # fmt: skip
def test_good_sensors_are_a_band_along_the_straight_line(enlarged, low, high):
    spec = spec_of(passes_chart(passes(2), ends_pct=ENDS, limit_pct=0.5, enlarged=enlarged))
    (band,) = layers_with(spec, "area")
    corners = data_of(spec, band)
    assert [row["low_pct"] for row in corners] == low
    assert [row["high_pct"] for row in corners] == high


@pytest.mark.parametrize(("ends", "limit"), [(ENDS, None), ((math.nan, 90.0), 0.5)])
def test_without_ends_or_limit_there_is_no_band(ends, limit):
    spec = spec_of(passes_chart(passes(2), ends_pct=ends, limit_pct=limit))
    assert layers_with(spec, "area") == []
    assert not any("band" in line for line in spec["title"]["subtitle"])


def test_enlarged_the_straight_line_is_taken_away_and_its_neighbourhood_fills_the_picture():
    spec = spec_of(passes_chart(passes(2, dip_pct=20.0), ends_pct=ENDS, enlarged=True))
    (lines,) = layers_with(spec, "line")
    assert lines["encoding"]["y"]["scale"]["domain"] == [-2.0, 2.0]
    off = [row["output_pct"] for row in data_of(spec, lines)]
    assert min(off) == pytest.approx(-20.0, abs=1e-4)
    assert max(off) == pytest.approx(0.0, abs=1e-4)


def test_an_earlier_test_departs_from_the_line_between_its_own_stops():
    before = passes(2).assign(output_pct=lambda rows: 20.0 + 0.6 * rows["travel_pct"])
    spec = spec_of(
        passes_chart(
            passes(2), ends_pct=ENDS, earlier=before, earlier_ends_pct=(20.0, 80.0), enlarged=True
        )
    )
    behind, _ = layers_with(spec, "line")
    assert max(abs(row["output_pct"]) for row in data_of(spec, behind)) < 1e-4


def test_departure_of_a_straight_pass_is_nought():
    assert departure(passes(2), ENDS)["output_pct"].abs().max() < 1e-9


def test_the_reading_counts_passes_says_how_the_position_is_known_and_where_it_departs():
    said = passes_reading(passes(4, dip_pct=20.0), travel_source="channel", ends_pct=ENDS)
    assert said == (
        "2 opening and 2 closing passes; the position was recorded by another channel. Farthest "
        "from the straight line between the stops: 20 % of the applied below it, at 22 % of "
        "travel, opening, pass 1."
    )
    guessed = passes_reading(passes(3), travel_source="estimated", ends_pct=ENDS)
    assert guessed.startswith("2 opening and 1 closing pass; the position is read back")
    assert "not a bow of the whole track" in guessed


def test_nothing_to_lay_over_is_said_and_unknown_ends_leave_the_place_out():
    assert passes_reading(passes(1).iloc[:0], travel_source="none", ends_pct=ENDS).startswith(
        "No pass of this sweep"
    )
    blank = passes_reading(passes(2), travel_source="channel", ends_pct=(math.nan, math.nan))
    assert "Farthest" not in blank
