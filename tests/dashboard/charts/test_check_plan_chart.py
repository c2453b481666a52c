"""The calendar of checks, by its specification."""

import pandas as pd
import pytest

from dashboard.charts.check_plan import calendar_chart, calendar_reading, placed
from tests.dashboard.charts.specs import data_of, layers_with, spec_of
from tests.dashboard.fake_checks import MONDAY, days


def test_the_number_of_bikes_stands_in_its_cell_as_a_figure():
    spec = spec_of(calendar_chart(days()))
    (figures,) = layers_with(spec, "text")
    assert figures["encoding"]["text"]["field"] == "figure"
    assert {row["figure"] for row in data_of(spec, figures)} == {"4", "8"}


def test_a_cell_is_filled_as_far_as_its_hours_are_planned():
    frame = placed(days()).set_index("on_day")
    empty, half, full = (frame.loc[MONDAY + pd.Timedelta(days=d)] for d in (1, 0, 2))
    height = half["bottom"] - half["top"]
    assert empty["level"] == pytest.approx(empty["bottom"])
    assert half["bottom"] - half["level"] == pytest.approx(height / 2)
    assert full["level"] == pytest.approx(full["top"])


def test_a_week_is_a_row_and_a_day_of_the_week_a_column():
    frame = placed(days())
    assert frame["row"].tolist() == [n // 5 for n in range(30)]
    assert frame["left"].round().tolist() == [float(n % 5) for n in range(30)]


def test_shops_are_added_up():
    frame = placed(days())
    assert frame["check_hours"].unique().tolist() == [4.0]


def test_the_reading_names_the_fullest_day():
    assert "most on 2026-11-04: 8 bikes, 4 of 4 h." in calendar_reading(days())


def test_no_bike_is_said():
    none = days().assign(visit_count=0, planned_hours=0.0)
    assert calendar_reading(none) == "No bike comes in on any of 30 working days."
    assert spec_of(calendar_chart(none))


def test_days_without_hours_for_checks_are_drawn_empty():
    none = days().assign(check_hours=0.0, planned_hours=0.0, visit_count=0)
    assert placed(none)["level"].eq(placed(none)["bottom"]).all()
