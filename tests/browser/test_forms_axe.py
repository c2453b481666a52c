"""The owner's and the operator's forms, opened and read by axe-core in both themes."""

from __future__ import annotations

import re

import pytest

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
