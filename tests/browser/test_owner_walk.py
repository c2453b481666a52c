"""The owner's walk: answer advice, count parts, book an order in, and see what was saved."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from playwright.sync_api import expect

from pipeline.access.entered.pending import pending_rows
from pipeline.jobs.demo import AS_OF
from tests.askers import HERE
from tests.browser.forms import choose, open_fold, press, type_day, type_number
from tests.browser.test_walk import SIZES, heading, no_error

pytestmark = [pytest.mark.browser, pytest.mark.long]

TABLET_AND_DESKTOP = pytest.mark.parametrize(
    "own_page",
    [
        pytest.param(
            {"viewport": dict(zip(("width", "height"), SIZES[size], strict=True))},
            id=size,
            marks=[pytest.mark.long] if size == "desktop" else [],
        )
        for size in ("tablet", "desktop")
    ],
    indirect=True,
)


@TABLET_AND_DESKTOP
def test_the_owner_answers_advice_counts_parts_and_books_an_order_in(own_page, written):
    page, (home, _) = own_page, written
    page.goto("/")
    heading(page, "Sensors in service")
    _put_off(page)
    (answer,) = pending_rows(home, HERE, "advice_answers")["advice_answers"].values()
    assert (answer["answer"], answer["reason"]) == ("put_off", "the part is on its way")

    page.get_by_role("link", name="Parts", exact=True).click()
    heading(page, "Parts: what to order today")
    open_fold(page, "Put in a count")
    choose(page, "Part", re.compile("^QK-1140S"))
    page.get_by_text("Known so far:").wait_for()
    type_number(page, "On the shelf, parts", 5)
    press(page, "Save")
    page.get_by_text("Saved: counted, part QK-1140S.").wait_for()
    page.get_by_text(re.compile("part QK-1140S: 5 parts on the shelf .* none on order")).wait_for()

    assert page.get_by_label("On the shelf, parts", exact=True).input_value() == ""
    press(page, "Save")  # the form is empty again: nothing is saved twice
    page.get_by_text("Nothing was saved.").wait_for()

    _order(page)
    page.get_by_text(re.compile("5 parts on the shelf .* 4 on order, due")).first.wait_for()
    _arrival(page)
    page.get_by_text("1 part fewer on the shelf than the records led to expect (9).").wait_for()
    said = page.get_by_text(re.compile("part QK-1140S: 8 parts on the shelf .* none on order"))
    assert "not in the plan yet" in said.first.inner_text()
    (count,) = pending_rows(home, HERE, "stock")["stock"].values()
    assert (count["on_hand"], count["on_order"]) == ("8", "0")
    no_error(page)

    page.get_by_role("link", name="Repairs", exact=True).click()
    heading(page, "What repairs came to")
    page.get_by_role("heading", name="What the advice is estimated to have saved").wait_for()
    no_error(page)


def _put_off(page) -> None:
    open_fold(page, "Answer the advice on some of these")
    choose(page, "Sensors", re.compile("Test|Replace"))
    page.get_by_text("Put off until a date", exact=True).click()
    page.get_by_label("Reason", exact=True).fill("the part is on its way")
    type_day(page, "Put off until", AS_OF + timedelta(days=400))
    press(page, "Save the answer for 1 sensor")
    page.get_by_text("Saved: put off for 1 sensor.").wait_for()
    expect(page.get_by_label("Reason", exact=True)).to_have_value("")
    answer = page.locator(".wa-answer").first
    answer.wait_for()
    assert "the part is on its way" in answer.inner_text()
    assert "not in the records of the plans yet" in answer.inner_text()
    no_error(page)


def _order(page) -> None:
    page.get_by_text("Ordered", exact=True).click()
    type_number(page, "Parts ordered", 4)
    type_day(page, "Due on", AS_OF + timedelta(days=10))
    press(page, "Save")
    page.get_by_text("Saved: ordered, part QK-1140S.").wait_for()


def _arrival(page) -> None:
    page.get_by_text("Arrived", exact=True).click()
    type_number(page, "Parts arrived", 4)
    type_number(page, "On the shelf with them, parts", 8)
    press(page, "Save")
