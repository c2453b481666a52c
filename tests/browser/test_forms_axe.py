"""The owner's and the operator's forms, opened and read by axe-core in both themes."""

from __future__ import annotations

import re

import pytest

from dashboard.wording.consent_words import FOLD
from pipeline.access.stock_book import stock_book
from pipeline.asker import whoever_is_here
from pipeline.intake.settings.transfer_consents import keep_consent
from tests.browser.axe_reading import settle
from tests.browser.forms import choose, open_fold
from tests.browser.test_axe import read_in_both_themes

pytestmark = [pytest.mark.browser, pytest.mark.long]


def test_no_rule_is_broken_in_the_forms_of_the_fleet(page):
    page.goto("/fleet")
    settle(page)
    for fold in ("Put in when bikes", "Take windows back", "Take a bike out of service"):
        open_fold(page, fold)
    assert read_in_both_themes(page) == []


def test_no_rule_is_broken_in_the_form_of_the_stock(page):
    page.goto("/parts")
    settle(page)
    open_fold(page, "Put in a count")
    choose(page, "Part", re.compile("^QK-1140S"))
    assert read_in_both_themes(page) == []


def test_no_rule_is_broken_in_the_form_of_answers(page):
    page.goto("/")
    settle(page)
    open_fold(page, "Answer the advice on some of these")
    page.get_by_text("Put off until a date", exact=True).click()
    page.get_by_label("Reason", exact=True).wait_for()
    assert read_in_both_themes(page) == []


@pytest.mark.parametrize(
    "own_page",
    [{}, {"viewport": {"width": 390, "height": 844}}],
    ids=["desktop", "phone"],
    indirect=True,
)
def test_no_rule_is_broken_where_owners_say_whom_parts_may_be_passed_to(own_page, written):
    home, _ = written
    asker = whoever_is_here()
    giving, taking = stock_book(home, asker).rows["shop_id"].unique()[:2]
    keep_consent(home, giving, [taking], [], asker=asker)
    own_page.goto("/parts")
    settle(own_page)
    fold = open_fold(own_page, FOLD)
    choose(own_page, "Say it for", re.compile(giving), within=fold)
    fold.get_by_text("it waits for the other owner").wait_for()
    found = read_in_both_themes(own_page)  # from the side that agreed, then from the other
    choose(own_page, "Say it for", re.compile(taking), within=fold)
    fold.get_by_text("you have not agreed yet").wait_for()
    assert found + read_in_both_themes(own_page) == []
