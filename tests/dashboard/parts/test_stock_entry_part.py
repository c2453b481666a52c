"""Counts, orders and arrivals typed on the page of parts: saved, refused, and shown at once."""

from __future__ import annotations

import dataclasses
from datetime import date

import pytest
from streamlit.testing.v1 import AppTest

from dashboard.wording.stock_entry_words import arrival_words, known_words
from pipeline.access import stock_book, stock_view, views
from pipeline.access.entered.pending import pending_rows
from pipeline.access.stock_book import STOCK_BOOK, StockBook
from pipeline.home import own_home
from pipeline.intake.receive import last_hand_in
from tests.askers import HERE
from tests.dashboard import fake_stock as fakes
from tests.dashboard.fake_views import edition, show_worklist
from tests.dashboard.test_pages import APP, text_of


@pytest.fixture
def book(monkeypatch, tmp_path):
    """``book(view)`` lets the page read that book of stock."""
    monkeypatch.setenv("WEAR_ATLAS_HOME", str(tmp_path))
    monkeypatch.setattr(views, "current_version", lambda home: 1)
    show_worklist(monkeypatch)
    monkeypatch.setattr(stock_view, "stock_view", lambda home, asker, *of: fakes.stock_view())

    def read(view):
        monkeypatch.setattr(stock_book, "stock_book", lambda home, asker: view)

    read(fakes.stock_book())
    return read


def opened(part: str | None = "P-1", kind: str = "count") -> AppTest:
    app = AppTest.from_file(str(APP), default_timeout=20)
    app.session_state["stock_fold"] = True
    app.run()
    app.switch_page("pages/parts.py").run()
    if part:
        app.selectbox(key="stock_part").set_value(part).run()
        app.radio(key="stock_kind").set_value(kind).run()
    assert not app.exception
    return app


def kept() -> list[dict]:
    return list(pending_rows(own_home(), HERE, "stock")["stock"].values())


def test_the_form_is_drawn_only_once_opened_and_begins_with_a_part(book):
    app = opened(part=None)
    assert "Choose a part to begin." in text_of(app)
    assert not app.number_input
    app.session_state["stock_fold"] = False
    app.run()
    assert not app.radio


def test_a_count_is_saved_as_it_was_typed_and_the_form_is_empty_again(book):
    app = opened()
    known = "2 parts on the shelf (3 counted on 2026-03-01, 1 fitted since), 2 on order, due"
    assert f"Known so far: {known} 2026-03-20. The plan advises: order 4 (2 packs of 2)." in (
        text_of(app)
    )
    app.number_input(key="stock_on_hand").set_value(7)
    app.date_input(key="stock_on").set_value(date(2026, 3, 14))
    app.button(key="stock_save").click().run()
    assert not app.exception
    (cells,) = kept()
    assert cells == {
        "shop_id": "north",
        "part_no": "P-1",
        "counted_on": "2026-03-14",
        "on_hand": "7",
    }
    assert "Saved: counted, part P-1. It shows below at once" in text_of(app)
    assert app.number_input(key="stock_on_hand").value is None
    assert "Saved:" not in text_of(app.run())


def test_an_order_goes_with_the_latest_count_and_needs_one(book):
    app = opened(kind="order")
    app.number_input(key="stock_many").set_value(4)
    app.date_input(key="stock_due").set_value(date(2026, 4, 2))
    app.button(key="stock_save").click().run()
    (cells,) = kept()
    assert (cells["counted_on"], cells["on_hand"]) == ("2026-03-01", "3")
    assert (cells["on_order"], cells["order_due_on"]) == ("6", "2026-04-02")
    app = opened(part="P-2", kind="order")
    app.number_input(key="stock_many").set_value(4)
    app.button(key="stock_save").click().run()
    assert "never counted here: save a count first" in text_of(app)
    assert len(kept()) == 1


def test_an_arrival_is_a_count_and_says_where_it_differs_from_the_records(book):
    app = opened(kind="arrival")
    app.number_input(key="stock_many").set_value(2)
    app.number_input(key="stock_on_hand").set_value(3)
    app.date_input(key="stock_on").set_value(date(2026, 3, 14))
    app.button(key="stock_save").click().run()
    (cells,) = kept()
    assert (cells["counted_on"], cells["on_hand"], cells["on_order"]) == ("2026-03-14", "3", "0")
    assert "1 part fewer on the shelf than the records led to expect (4)." in text_of(app)


def test_what_cannot_stand_is_named_and_what_was_typed_stays(book):
    app = opened()
    app.number_input(key="stock_on_hand").set_value(-2)
    app.button(key="stock_save").click().run()
    text = text_of(app)
    assert "Nothing was saved." in text
    assert "On hand: “-2”" in text
    assert app.number_input(key="stock_on_hand").value == -2
    app.number_input(key="stock_on_hand").set_value(None)
    app.button(key="stock_save").click().run()
    assert "On hand: blank" in text_of(app)
    assert last_hand_in(own_home()) == 0


def test_what_waits_for_the_plan_is_listed_and_stands_beside_its_line(book):
    book(fakes.stock_book(pending=[True, False, False, False], on_hand_now=[9, None, 0, None]))
    app = opened(part=None)
    text = text_of(app)
    assert "Put in since this plan was made, and not in it yet: 1 part." in text
    assert "North Yard, part P-1: 9 parts on the shelf" in text
    assert "<strong>now 9, not in the plan yet</strong>" in text
    assert text.count("now 2, not in the plan yet") == 1


def test_without_a_shop_or_a_part_the_page_says_what_is_missing(book, monkeypatch):
    book(StockBook(edition(), STOCK_BOOK.empty()))
    nothing = dataclasses.replace(fakes.stock_view(), rows=fakes.stock_rows().iloc[:0], one=None)
    monkeypatch.setattr(stock_view, "stock_view", lambda home, asker, *of: nothing)
    text = text_of(opened(part=None))
    assert "once a shop and a part number are on record" in text
    assert "There is nothing to plan" in text


def test_words_of_what_is_known_and_of_more_than_was_ordered():
    first, never, *_ = fakes.stock_book().rows.to_dict("records")
    assert known_words(never) == "Never counted here."
    assert arrival_words(first, 2, 4) == ""
    assert arrival_words(first, 3, 5) == "Only 2 had been on order."
    assert arrival_words(never, 3, 3) == ""


def test_the_part_named_in_the_address_is_chosen_to_begin_with_and_another_can_be(
    book, monkeypatch
):
    def view(home, asker, shop_id=None, part_no=None):
        row = fakes.stock_rows().to_dict("records")[2 if shop_id else 0]
        return dataclasses.replace(fakes.stock_view(), one=fakes.one_part(row))

    monkeypatch.setattr(stock_view, "stock_view", view)
    app = opened(part=None)
    app.selectbox(key="stock_North Yard, P-1").select("South Yard, P-1").run()
    assert app.query_params["shop"] == "south"
    assert app.selectbox(key="stock_shop").value == "South Yard"
    assert app.selectbox(key="stock_part").value == "P-1"
    assert "The plan advises: nothing." in text_of(app)
    app.selectbox(key="stock_part").set_value("P-2").run()
    assert app.selectbox(key="stock_part").value == "P-2"
    assert not app.exception
