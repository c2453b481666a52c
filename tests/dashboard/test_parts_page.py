"""The page of the parts stock in each of its states, on made-up views."""

from __future__ import annotations

import dataclasses

import pytest

from dashboard.markup import table
from dashboard.parts import show_chart
from dashboard.wording.stock_words import exported
from models.stock import schemas
from pipeline.access import stock_book, stock_view, views
from pipeline.access.frames import stock_schemas
from tests.dashboard import fake_stock as fakes
from tests.dashboard.fake_views import show_worklist
from tests.dashboard.test_pages import opened, text_of


@pytest.fixture
def shown(monkeypatch, tmp_path):
    """What is asked of the pipeline, in order; ``shown.view`` is what it answers."""

    class Shown(list):
        view = fakes.stock_view()

    asked = Shown()

    def answer(home, asker, shop_id=None, part_no=None):
        asked.append((shop_id, part_no))
        if shop_id is None:
            return asked.view
        own = asked.view.rows
        own = own[own["shop_id"].eq(shop_id) & own["part_no"].eq(part_no)]
        one = fakes.one_part(own.to_dict("records")[0])
        return dataclasses.replace(asked.view, one=one)

    monkeypatch.setenv("WEAR_ATLAS_HOME", str(tmp_path))
    monkeypatch.setattr(views, "current_version", lambda home: 1)
    show_worklist(monkeypatch)
    monkeypatch.setattr(stock_view, "stock_view", answer)
    monkeypatch.setattr(stock_book, "stock_book", lambda home, asker: fakes.stock_book())
    return asked


def test_the_first_thing_said_is_what_to_order_today(shown):
    text = text_of(opened("parts"))
    first = "Order 7 parts today for 760 crowns: 2 lines in 2 shops."
    assert first in text
    assert "700 crowns is tied up in parts on hand and due, 1,460 crowns with the order." in text
    assert text.index(first) < text.index("order 4 (2 packs of 2)") < text.index("One shop")
    assert "42 → 3 in 100" in text
    assert text.index("Count first: 2 lines") < text.index("order 4 (2 packs of 2)")
    assert "400 → 800 crowns" in text


def test_lines_with_nothing_to_order_are_folded_with_their_reasons(shown):
    text = text_of(opened("parts"))
    folded = text.split("Nothing to order: 2 lines")[1]
    assert "A slow mover: stocking none costs least" in folded
    assert "keeping one costs 25 crowns a year, doing without about 20 crowns" in folded
    assert "Last counted on 2026-03-14: count again first." in folded
    assert "That says nothing about any bike" in folded


def test_what_is_missing_or_assumed_is_said_in_its_line(shown):
    text = text_of(opened("parts"))
    for words in (
        "Never counted here: taken as none on the shelf. Count first.",
        "No lead time on record: 21 days assumed.",
        "No price on record: 120 crowns assumed.",
        "The order is overdue",
        "3 counted on 2026-03-14, 1 fitted since.",
        "Use up P-0 first where it fits.",
        "1 sensor without a chance is left out, so more may be asked for.",
    ):
        assert words in text, words


def test_one_part_has_its_chart_its_weeks_and_who_may_ask(shown):
    app = opened("parts")
    text = text_of(app)
    assert len(app.get("vega_lite_chart")) == 2
    assert text.count("wa-reading") == 2
    assert "North Yard, part P-1: order 4 (2 packs of 2) now." in text
    assert "Bikes never seen before ask for 1.1 of P-1 a year (likely 0.4 to 2.3)" in text
    assert "3 parts at 14 first visits in 3.0 years" in text
    assert "The 10 sensors of 12 likeliest to ask within 21 days" in text


def test_cautions_stand_before_bikes_are_named(shown):
    text = text_of(opened("parts"))
    assert text.index("Before any work on a bike") < text.index('href="bike?unit=U-000"')


def test_another_part_stands_in_the_address_and_comes_first(shown):
    app = opened("parts")
    app.selectbox(key="stock_North Yard, P-1").select("South Yard, P-2").run()
    assert shown[-1] == ("south", "P-2")
    assert app.query_params["shop"] == "south"
    text = text_of(app)
    assert text.index("One shop") < text.index("Today, shop by shop")
    assert "South Yard, part P-2: order 3 now." in text


def test_transfers_come_before_orders_and_name_the_shared_stock(shown):
    shown.view = fakes.between_shops(fakes.stock_view())
    text = text_of(opened("parts"))
    assert "2 parts to pass between shops first." in text
    assert "take 2 from another shop" in text
    assert "give 2 to another shop" in text
    assert "one shared stock would aim at 6, the shops apart at 8" in text


def test_a_part_going_out_of_supply_is_told_with_its_range(shown):
    shown.view = fakes.stock_view(last_buys=fakes.last_buys())
    text = text_of(opened("parts"))
    assert "Last order by 2026-09-30: 9 parts for 1,080 crowns" in text
    assert "likely 2 to 12" in text


def test_without_any_record_it_says_that_there_is_nothing_to_plan(shown):
    shown.view = fakes.stock_view(
        rows=stock_schemas.STOCK_ROWS.empty(),
        left_out=stock_schemas.STOCK_LEFT_OUT.empty(),
        one=None,
    )
    app = opened("parts")
    assert "There is nothing to plan" in text_of(app)
    assert not app.get("vega_lite_chart")


def test_a_part_that_only_walk_ins_ask_for_has_no_bikes_and_no_cautions(shown):
    shown.view = fakes.stock_view(
        one=fakes.one_part(asking=stock_schemas.STOCK_ASKING.empty()),
        left_out=stock_schemas.STOCK_LEFT_OUT.empty(),
    )
    text = text_of(opened("parts"))
    assert "No sensor in service whose chance is known is on record for it here." in text
    assert "Before any work on a bike" not in text


def test_record_text_is_never_markup(shown):
    assert "<script>alert" not in text_of(opened("parts"))


def test_each_figure_has_its_rows_as_a_table_and_as_a_file(shown, monkeypatch):
    tables = {}

    def as_table(draw, reading, rows, columns, *, name, hint=""):
        tables[name] = table(rows, columns, reading)

    monkeypatch.setattr(show_chart, "show_chart", as_table)
    app = opened("parts")
    assert "99" in tables["parts_asked_for_north_P-1"]
    for words in ("2026-03-22", "1.4, likely 0 to 5"):
        assert words in tables["parts_by_week_north_P-1"]
    assert len(app.get("download_button")) == 2


def test_the_worklist_leads_here(shown):
    assert 'href="parts"' in text_of(opened())


def test_every_number_in_the_file_carries_its_unit():
    units = ("parts", "packs", "days", "sensors", "money", "0_to_1", "size", "left_out", "a_year")
    frame = exported(fakes.stock_rows())
    for name in frame.select_dtypes("number").columns:
        assert name.endswith(units), name


def test_every_schema_column_of_an_order_reaches_the_page():
    names = set(stock_schemas.STOCK_ROWS.names)
    assert set(schemas.STOCK_ORDERS.names) < names
