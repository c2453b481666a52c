"""The technician's walk: a bike found, led through a test, a reload in between, the job closed."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from pipeline.access.entered.pending import pending_rows
from pipeline.asker import Asker
from pipeline.home import Home
from pipeline.intake.typed.drafts import drafts
from tests.askers import HERE
from tests.browser.forms import choose, press, type_number
from tests.browser.test_owner_walk import TABLET_AND_DESKTOP
from tests.browser.test_walk import fits_and_can_be_pressed, heading, no_error

pytestmark = pytest.mark.browser

BIKE, LABEL = "U-002", "harrow 2"


def _sweep() -> bytes:
    """Three slow openings and closings at 500 samples a second, a gap near 23 % of travel."""
    lines = ["clock;probe"]
    for n in range(9000):
        place = abs((n % 3000) - 1500) / 1500
        volts = 0.05 if abs(1 - place - 0.23) < 0.004 else 0.5 + 4.0 * (1 - place)
        lines.append(f"{2 * n};{volts:.3f}".replace(".", ","))
    return "\n".join(lines).encode()


def _step(page, name: str) -> None:
    press(page, "Next step")
    page.get_by_role("heading", level=2, name=re.compile(rf"\. {name}$")).wait_for()


@TABLET_AND_DESKTOP
def test_the_technician_tests_a_sensor_and_closes_the_job(own_page, written):
    own_page.goto("/")
    walk_from_test_to_job(own_page, written[0], HERE)


def walk_from_test_to_job(page, home: Home, technician: Asker) -> None:
    """The walk, from the worklist on."""
    page.get_by_role("link", name="Bench", exact=True).click()
    heading(page, "Test at the bench")
    page.get_by_label("Bike", exact=True).fill(f"http://bench.example/bench?unit={BIKE}")
    press(page, "Find")
    heading(page, f"Bench test of bike {LABEL}")
    page.get_by_text("What is due, and why").wait_for()
    page.get_by_text("Drive-by-wire throttle plates move").first.wait_for()
    fits_and_can_be_pressed(page)
    type_number(page, "Odometer, km", 85_000)

    _step(page, "Stored codes")
    _step(page, "Supply")
    type_number(page, "Reference pin to battery negative, V", 4.2)
    page.get_by_text("out of range").first.wait_for()
    type_number(page, "Reference pin to battery negative, V", 4.98)
    page.get_by_text("in range").first.wait_for()

    page.reload()
    heading(page, f"Bench test of bike {LABEL}")
    kept = page.get_by_label("Reference pin to battery negative, V", exact=True)
    kept.wait_for()
    assert float(kept.input_value()) == 4.98
    for name in ("Ground", "Plug and lead", "Signal at both ends", "Resistance at both ends"):
        _step(page, name)

    _step(page, "Slow passes")
    page.get_by_text("Sweep slowest at").wait_for()
    page.locator("input[type=file]").set_input_files(
        {"name": "sweep.csv", "mimeType": "text/csv", "buffer": _sweep()}
    )
    page.get_by_text("is kept with this test").wait_for()
    page.get_by_text("ms", exact=True).click()
    page.wait_for_timeout(700)
    page.get_by_test_id("stButtonGroup").get_by_text("V", exact=True).click()
    page.get_by_text("By the rules: drop-outs seen").wait_for()
    page.locator(".wa-plot").first.wait_for()
    fits_and_can_be_pressed(page)

    for name in ("Live percentage", "Refit and relearn", "Verdict"):
        _step(page, name)
    page.get_by_text("Fail", exact=True).click()
    page.wait_for_timeout(700)
    press(page, "Save the test")
    page.wait_for_url("**/session?session=*")
    heading(page, "Bench test of")
    page.get_by_text("Drop-outs seen").first.wait_for()
    no_error(page)
    (test,) = pending_rows(home, technician, "test_sessions")["test_sessions"].values()
    assert (test["verdict"], float(test["supply_v"])) == ("fail", 4.98)
    assert drafts(home, technician) == []

    page.get_by_role("link", name="Close the job that this test led to").click()
    heading(page, f"Close a job on bike {LABEL}")
    choose(page, "What was done", "sensor replaced")
    choose(page, "Part number fitted", re.compile("^QK-1140"))
    type_number(page, "Odometer, km", 85_000)
    fits_and_can_be_pressed(page)
    press(page, "Close the job")
    page.get_by_text("The job is closed: sensor replaced").wait_for()
    no_error(page)
    rows = pending_rows(home, technician, "sensors", "repair_outcomes")
    (job,) = rows["repair_outcomes"].values()
    assert (job["action"], job["session_id"]) == ("sensor_replaced", test["session_id"])
    ends = sorted(bool(row.get("removed_on")) for row in rows["sensors"].values())
    assert ends == [False, True]


@pytest.mark.long
@TABLET_AND_DESKTOP
def test_a_bike_is_registered_and_its_tag_printed(own_page):
    page = own_page
    page.goto("/register")
    heading(page, "Register a bike")
    page.get_by_label("The bike's number").fill("N-1")
    page.get_by_label("The bike's number").press("Tab")
    page.wait_for_timeout(700)
    choose(page, "Shop", re.compile("Tollgate|tollgate"))
    choose(page, "Model", "sedge-250")
    choose(page, "Its part number", re.compile("^QK-1140"))
    type_number(page, "Odometer today, km", 120)
    press(page, "Register the bike")
    page.get_by_text("Bike N-1 is registered").wait_for()
    page.goto("/tags?unit=N-1")
    page.get_by_text("1 tag to print").wait_for()
    page.get_by_alt_text("QR code: N-1").wait_for()
    with page.expect_download() as taken:
        press(page, "Save 1 tag as a page to print")
    assert "data:image/svg+xml" in Path(taken.value.path()).read_text()
    fits_and_can_be_pressed(page)
    no_error(page)


@pytest.mark.long
def test_the_bench_can_be_worked_with_the_keyboard_alone(own_page, written):
    page, (home, _) = own_page, written
    page.goto("/bench")
    heading(page, "Test at the bench")
    _tab_to(page, "Bike")
    page.keyboard.type(BIKE)
    page.keyboard.press("Enter")
    heading(page, f"Bench test of bike {LABEL}")
    _tab_to(page, "Odometer, km")
    page.keyboard.type("85000")
    page.keyboard.press("Enter")
    page.wait_for_timeout(700)
    _tab_to(page, "Next step")
    page.keyboard.press("Enter")
    page.get_by_role("heading", level=2, name=re.compile(r"\. Stored codes$")).wait_for()
    (begun,) = drafts(home, HERE)
    assert begun.values["odometer_km"] == 85_000


def _tab_to(page, name: str) -> None:
    """Press Tab until what is so called has the focus."""
    page.get_by_text(name, exact=True).first.wait_for()
    page.wait_for_timeout(700)
    focused = "e => (e.labels?.[0]?.innerText || e.getAttribute('aria-label') || e.innerText || '')"
    for _ in range(80):
        page.keyboard.press("Tab")
        said = page.evaluate(f"({focused})(document.activeElement)").strip()
        if said == name:
            return
    raise AssertionError(f"Tab never comes to {name}")
