"""The operator's walk: the fleet, a free window, a bike that leaves service, the plan's export."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path

import pytest

from pipeline.access.entered.pending import pending_rows
from pipeline.jobs.demo import AS_OF
from tests.askers import HERE
from tests.browser.forms import choose, open_fold, press, type_day
from tests.browser.test_owner_walk import TABLET_AND_DESKTOP
from tests.browser.test_walk import fits_and_can_be_pressed, heading, no_error

pytestmark = [pytest.mark.browser, pytest.mark.long]

FLEET = "ferry-hire"


@TABLET_AND_DESKTOP
def test_the_operator_frees_a_bike_retires_one_and_takes_the_plan_home(own_page, written):
    page, (home, _) = own_page, written
    page.goto("/")
    page.get_by_role("link", name="Fleet", exact=True).click()
    heading(page, "The fleet at a glance")
    choose(page, "Fleet", FLEET)
    page.wait_for_url(f"**/fleet?fleet_of={FLEET}")
    page.locator("[data-testid=stVegaLiteChart]").first.wait_for()
    page.get_by_text(re.compile("with a known chance, ferry .* is the likeliest")).wait_for()
    page.get_by_role("heading", name="Bikes of which too little is known").wait_for()
    fits_and_can_be_pressed(page)

    free_from = AS_OF + timedelta(days=20)
    open_fold(page, "Put in when bikes can be spared")
    choose(page, "Bikes", re.compile("^ferry "))
    type_day(page, "First free day", free_from)
    type_day(page, "Last free day", free_from + timedelta(days=1))
    press(page, "Save the window")
    page.get_by_text(re.compile(f"Saved: 1 bike free from {free_from}")).wait_for()
    assert page.get_by_text("typed, not in the plans yet").count() >= 1
    press(page, "Save the window")  # the form is empty again: nothing is saved twice
    page.get_by_text("none is chosen; expected at least one bike").wait_for()
    (window,) = pending_rows(home, HERE, "calendar")["calendar"].values()
    assert window["free_from"] == free_from.isoformat()

    fold = open_fold(page, "Take a bike out of service")
    choose(page, "Bike", re.compile("^ferry "), within=fold)
    press(page, "Save")
    page.get_by_text(re.compile(f"Saved: out of service since {AS_OF}")).wait_for()
    page.get_by_text(re.compile(f"ferry .*: out of service since {AS_OF}, not in")).wait_for()
    (unit,) = pending_rows(home, HERE, "units")["units"].values()
    assert unit["out_of_service_on"] == AS_OF.isoformat()
    assert unit["fleet_id"] == FLEET
    no_error(page)

    with page.expect_download() as taken:
        press(page, "Save for a calendar (.ics)")
    assert "BEGIN:VEVENT" in Path(taken.value.path()).read_text()
    page.get_by_role("link", name=re.compile("The plan of checks as a calendar")).click()
    heading(page, "Checks: which bike comes in when")
    assert page.url.endswith(f"/checks?check_fleet={FLEET}")
    with page.expect_download() as taken:
        press(page, "Save the visits as CSV")
    rows = Path(taken.value.path()).read_text("utf-8-sig").splitlines()
    assert len(rows) > 1
    assert all(FLEET in row for row in rows[1:] if row.startswith("U-"))
    no_error(page)
