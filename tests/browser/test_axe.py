"""Every page, in both themes, read by axe-core: no rule broken beyond an empty page's own."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import dashboard
from dashboard.surround import PAGES
from tests.bench.pages_bench import EMPTY, serving
from tests.browser.axe_reading import ALLOWED, broken_rules, settle
from tests.browser.conftest import HOST
from tests.browser.forms import open_fold, press
from tests.browser.swept_tests import with_dropouts

pytestmark = [pytest.mark.browser, pytest.mark.long]

BIKE = "U-002"
APP = Path(dashboard.__file__).with_name("app.py").read_text(encoding="utf-8")
ADDRESSES = sorted(
    {page.address.removeprefix("./") for page in PAGES} | set(re.findall(r'url_path="(\w+)"', APP))
)
#: Pages that show something else once a bike is named.
OF_A_BIKE = ("bench", "bike", "job", "register", "tags")


def read_in_both_themes(page) -> list[str]:
    found = []
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        settle(page)
        found += [f"{scheme}: {line}" for line in broken_rules(page)]
    return found


def test_every_page_of_the_app_is_read():
    assert {"", "bike", "session", "worklist"} - {"worklist"} <= set(ADDRESSES)
    assert len(ADDRESSES) == APP.count("st.Page(")


def test_an_empty_streamlit_page_breaks_just_what_is_allowed(chromium, demo, tmp_path):
    script = tmp_path / "empty.py"
    script.write_text(EMPTY, encoding="utf-8")
    with serving(script, demo.root) as address:
        page = chromium.new_page()
        page.goto(address)
        found = read_in_both_themes(page)
        page.close()
    assert HOST in address
    assert found == []
    assert frozenset() == ALLOWED, "nothing is allowed that an empty page does not break"


def test_a_fault_put_into_a_page_is_found(page):
    page.goto("/")
    settle(page)
    page.evaluate(
        """document.querySelector('[data-testid="stMainBlockContainer"]').insertAdjacentHTML(
        'afterbegin', '<button></button><p style="color:#aaa;background:#fff">faint</p>')"""
    )
    found = " ".join(broken_rules(page))
    assert "button-name" in found
    assert "color-contrast" in found


@pytest.mark.parametrize("address", ADDRESSES)
def test_no_rule_is_broken(page, address):
    page.goto(f"/{address}")
    assert read_in_both_themes(page) == []


@pytest.mark.parametrize("address", OF_A_BIKE)
def test_no_rule_is_broken_where_a_bike_is_named(page, address):
    page.goto(f"/{address}?unit={BIKE}")
    page.get_by_text("harrow 2").first.wait_for()
    assert read_in_both_themes(page) == []


@pytest.mark.parametrize(
    "page",
    [{}, {"viewport": {"width": 390, "height": 844}}],
    ids=["desktop", "phone"],
    indirect=True,
)
def test_no_rule_is_broken_on_a_test_with_all_that_can_be_opened_on_it(page, demo):
    session_id, _ = with_dropouts(demo)
    page.goto(f"/session?session={session_id}&dropout=1")
    page.locator(".wa-plot img").wait_for()
    found = read_in_both_themes(page)  # with the still picture, then with what replaces it
    press(page, "Draw a part")
    page.locator(".wa-plot").wait_for(state="detached")
    open_fold(page, "Passes laid over the travel")
    open_fold(page, "The same as a table")
    page.get_by_text("Lay over an earlier test").wait_for()
    assert found + read_in_both_themes(page) == []
