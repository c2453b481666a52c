"""The charts of the parts stock, by their specification."""

import pytest

from dashboard.charts.stock import (
    AFTER,
    NEITHER,
    NOW,
    ORDER,
    STOCK,
    demand_chart,
    demand_reading,
    weeks_chart,
    weeks_reading,
)
from tests.dashboard.charts.specs import data_of, layers_with, spec_of
from tests.dashboard.fake_stock import demand, stock_rows, weeks

ROW, ENOUGH = (stock_rows().to_dict("records")[i] for i in (0, 1))


def test_bars_are_told_by_mark_and_filling_as_well_as_colour():
    spec = spec_of(demand_chart(demand(), ROW))
    bars, marks = layers_with(spec, "bar")[0], layers_with(spec, "point")[0]
    filling = bars["encoding"]["fillOpacity"]["scale"]
    assert filling["domain"] == [STOCK, ORDER, NEITHER]
    assert filling["range"] == sorted(filling["range"], reverse=True)
    assert filling["range"][-1] == 0
    shapes = marks["encoding"]["shape"]["scale"]
    assert shapes["domain"] == filling["domain"] == marks["encoding"]["color"]["scale"]["domain"]
    assert len(set(shapes["range"])) == 3


def test_each_number_of_parts_is_met_by_stock_by_the_order_or_not():
    spec = spec_of(demand_chart(demand(), ROW))
    rows = data_of(spec, layers_with(spec, "bar")[0])
    met = {row["parts"]: row["covered"] for row in rows}
    assert [met[k] for k in (4, 5, 8, 9)] == [STOCK, ORDER, ORDER, NEITHER]
    assert spec["title"]["subtitle"] == ["n = 24 sensors; in 21 days"]


def test_where_nothing_is_ordered_there_is_no_word_for_an_order():
    layer = layers_with(spec_of(demand_chart(demand(1.1, 5), ENOUGH)), "point")[0]
    assert layer["encoding"]["shape"]["scale"]["domain"] == [STOCK]


def test_the_reading_names_need_stock_and_both_chances():
    assert demand_reading(demand(), ROW) == (
        "In 21 days 4.2 parts are expected to be asked for, once the stock of P-0 is used where "
        "it fits; most likely 4. With 4 there, a need goes unmet with a chance of 42 in "
        "100; with 8, as advised, 3 in 100."
    )
    assert demand_reading(demand(), ENOUGH).endswith("a chance of less than 1 in 100.")


def test_weeks_have_a_line_with_and_one_without_orders_each_with_its_own_dash_and_mark():
    spec = spec_of(weeks_chart(weeks()))
    line, points = layers_with(spec, "line")[0], layers_with(spec, "point")[0]
    assert line["encoding"]["strokeDash"]["scale"]["domain"] == [NOW, AFTER]
    dashes = line["encoding"]["strokeDash"]["scale"]["range"]
    assert dashes[0] != dashes[1]
    assert len(set(points["encoding"]["shape"]["scale"]["range"])) == 2
    assert line["encoding"]["y"]["scale"]["domain"] == [0, 100]
    rows = data_of(spec, line)
    assert len(rows) == 24
    assert max(row["in_100"] for row in rows) == pytest.approx(100.0)


def test_the_weeks_reading_names_the_worst_week_that_an_order_can_still_help():
    assert weeks_reading(weeks(), ROW) == (
        "Without an order a need is unmet on 2026-06-07 with a chance of more than 99 in 100. From "
        "when an order placed today can be there, with it and 12 parts ordered later, it is at "
        "most 9 in 100 (week ending 2026-04-26)."
    )
    assert "it is below 1 in 100." in weeks_reading(weeks().assign(short_after=0.001), ROW)
    late = weeks_reading(weeks(), ROW | {"lead_time_days": 120})
    assert late.endswith("An order placed today comes after the weeks shown.")
