"""Walks through the pages as a person would, on the demo."""

from __future__ import annotations

import re

import pytest

pytestmark = pytest.mark.browser

BIKE = ".wa-list a.wa-bike"
SIZES = {"phone": (390, 844), "tablet": (820, 1180), "desktop": (1440, 1000)}


def heading(page, words: str):
    page.get_by_role("heading", level=1, name=re.compile(words)).wait_for()
    return page


def no_error(page) -> None:
    assert page.get_by_test_id("stException").count() == 0
    assert page.get_by_test_id("stAlert").count() == 0


def test_worklist_to_bike_to_session_and_back(page, served):
    page.goto(served.address)
    heading(page, "Sensors in service")
    assert "Demo: invented shops, not measured." in page.inner_text("body")
    loaded = []
    page.on("load", lambda _: loaded.append(page.url))

    first = page.locator(BIKE).first
    label = first.inner_text()
    first.click()
    heading(page, re.escape(f"Bike {label}"))
    bike_address = page.url
    assert re.search(r"/bike\?unit=[\w.-]+$", bike_address)

    page.locator(".wa-table a[href^='session']").first.click()
    heading(page, "Bench test of")
    assert re.search(r"/session\?session=[\w.-]+$", page.url)
    page.locator("[data-testid=stVegaLiteChart]").first.wait_for()
    no_error(page)

    page.go_back()
    heading(page, re.escape(f"Bike {label}"))
    assert page.url == bike_address
    page.go_back()
    heading(page, "Sensors in service")
    page.locator(BIKE).first.wait_for()
    assert loaded == [], "links and Back must not load everything again"


def test_the_session_leads_up_to_its_bike_and_its_worklist(page, served):
    page.goto(served.address)
    page.locator(".wa-numbers a[href^='session']").first.click()
    heading(page, "Bench test of")
    page.locator("nav a[href^='bike']").click()
    heading(page, "Bike ")
    page.get_by_role("link", name="Worklist").click()
    heading(page, "Sensors in service")


def test_filters_are_kept_in_the_address_and_on_the_way_back(page, served):
    page.goto(f"{served.address}/?action=Test")
    tally = page.locator("p", has_text=re.compile(r"of \d+ sensors match"))
    tally.wait_for()
    count = tally.inner_text()
    assert page.locator(".wa-list .wa-action").first.inner_text() == "Test"
    page.locator(BIKE).nth(1).click()
    heading(page, "Bike ")
    page.go_back()
    tally.wait_for()
    assert page.url.endswith("?action=Test")
    assert tally.inner_text() == count


def test_a_filter_pressed_changes_the_address(page, served):
    page.goto(served.address)
    page.get_by_role("button", name="Leave", exact=True).click()
    page.wait_for_url("**/?action=Leave")
    page.locator(".wa-list .wa-action").first.filter(has_text="Leave").wait_for()
    words = set(page.locator(".wa-list .wa-action").all_inner_texts())
    assert words == {"Leave"}


def test_an_address_can_be_opened_afresh_and_copied(page, served):
    page.goto(served.address)
    address = page.locator(BIKE).first.evaluate("link => link.href")
    page.goto(address)
    heading(page, "Bike ")
    test = page.locator(".wa-table a[href^='session']").first.evaluate("link => link.href")
    page.goto(test)
    heading(page, "Bench test of")


def test_the_worklist_leads_to_how_far_to_trust_it_and_each_grouping_is_drawn(page, served):
    page.goto(served.address)
    page.get_by_role("link", name="How far to trust these chances").click()
    heading(page, "How far to trust these chances")
    assert page.url.endswith("/trust")
    charts = page.locator("[data-testid=stVegaLiteChart]")
    charts.first.wait_for()
    for grouping in ("Part", "Duty", "Date looked on from"):
        chosen = page.get_by_role("option", name=grouping, exact=True)
        for _ in range(6):  # a list opened while the page is still being drawn closes again
            page.get_by_role("combobox", name=re.compile("Expected and found by")).click()
            page.wait_for_timeout(700)
            if chosen.is_visible():
                break
        chosen.click()
        page.locator("p", has_text=re.compile(r"In \d+ of \d+ groups")).wait_for()
        charts.first.wait_for()
        no_error(page)
    page.get_by_role("link", name="Worklist").click()
    heading(page, "Sensors in service")


def test_the_worklist_leads_to_the_wear_map_to_a_sensor_and_to_its_bike(page, served):
    page.goto(served.address)
    page.get_by_role("link", name="Where wear gathers").click()
    heading(page, "Where on the travel wear gathers")
    charts = page.locator("[data-testid=stVegaLiteChart]")
    charts.nth(1).wait_for()
    page.get_by_role("combobox", name="Shown").click()
    page.get_by_role("option", name="Roughness", exact=True).click()
    page.locator("p", has_text="The track is expected to be roughest between").wait_for()
    page.locator(".wa-table a[href^='wear?life=']").nth(1).click()
    page.wait_for_url("**/wear?life=*")
    page.locator("h2").first.filter(has_text="One sensor").wait_for()
    charts.nth(1).wait_for()
    no_error(page)
    page.locator(".stHtml p a[href^='bike']").first.click()
    heading(page, "Bike ")
    page.get_by_role("heading", name="Where its tracks wear").wait_for()


@pytest.mark.parametrize(
    "address", ["/bike?unit=no-such-bike", "/session?session=%3Cb%3E", "/bike", "/session"]
)
def test_an_address_that_leads_nowhere_says_so_and_leads_on(page, served, address):
    page.goto(served.address + address)
    heading(page, "Nothing to show here")
    page.get_by_role("link", name="Open the worklist").click()
    heading(page, "Sensors in service")


@pytest.mark.parametrize(
    "page",
    [
        {"viewport": {"width": w, "height": h}, "color_scheme": scheme}
        for (w, h), scheme in zip(SIZES.values(), ("light", "dark", "dark"), strict=True)
    ],
    ids=SIZES,
    indirect=True,
)
def test_pages_fit_their_screen_and_can_be_pressed_with_a_thumb(page, served):
    page.goto(f"{served.address}/trust")
    page.locator("[data-testid=stVegaLiteChart]").nth(1).wait_for()
    fits_and_can_be_pressed(page)
    page.goto(f"{served.address}/wear")
    page.locator("[data-testid=stVegaLiteChart]").nth(1).wait_for()
    fits_and_can_be_pressed(page)
    page.goto(served.address)
    for step in (BIKE, ".wa-table a[href^='session']", None):
        page.locator("h1").wait_for()
        fits_and_can_be_pressed(page)
        if step:
            page.locator(step).first.click()
            heading(page, "Bike " if step == BIKE else "Bench test of")


def fits_and_can_be_pressed(page) -> None:
    page.wait_for_timeout(500)  # the last elements move as they arrive
    fits, small, letters = page.evaluate(MEASURED)
    assert fits
    assert small == []
    assert letters >= 18


# Whether the page is no wider than its screen; what cannot be pressed on 44 px of height; the size
# of plain text. A link's place to press is its own box and what its padding adds.
MEASURED = """() => {
  const pane = document.querySelector('[data-testid="stMain"]');
  const seen = (e) => e.getClientRects().length > 0 && getComputedStyle(e).visibility !== 'hidden';
  const names = 'a, button, summary, input:not([type=hidden], [type=file]), [role=combobox]';
  const boxed = (e) => e.closest('[data-baseweb="select"], [data-baseweb="input"]') ?? e;
  const small = [...pane.querySelectorAll(names)].filter(seen)
    .filter((e) => boxed(e).getBoundingClientRect().height < 43.5)
    .map((e) => `${e.tagName} ${e.className} ${e.innerText} ${boxed(e).getBoundingClientRect().height}`);
  const letters = parseFloat(getComputedStyle(pane.querySelector('.stHtml p')).fontSize);
  return [pane.scrollWidth <= pane.clientWidth, small, letters];
}"""
