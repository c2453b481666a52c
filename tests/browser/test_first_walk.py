"""The first walk: records of one's own, files with faults, their correction, and miles."""

from __future__ import annotations

import re

import pytest

from pipeline.access.entered.standing import standing_rows
from pipeline.access.records_view import bike_count
from pipeline.home import OWN, Home
from pipeline.intake.column_names import read_column_names
from tests.askers import HERE
from tests.browser.forms import SETTLED_MS, TRIES, choose, open_fold, press
from tests.browser.test_owner_walk import TABLET_AND_DESKTOP
from tests.browser.test_walk import fits_and_can_be_pressed, heading, no_error

pytestmark = [pytest.mark.browser, pytest.mark.long]

BUILT_WITHIN_MS = 120_000
#: From one key to the next of a quick hand. Entered within 6 ms of its last letter, a word was not
#: taken in eight of nine tries; after 20 ms and more it was taken in all of 34.
A_KEY_MS = 30
EMPTY_PAGES = ("", "fleet", "checks", "parts", "repairs", "wear", "trust", "costs", "register")
FILES = {
    "shops.csv": "shop_id,name\ns1,Weir Lane\n",
    "units.csv": "Bike no;shop_id;model_code;Plate;Colour\nB1;s1;alder;WL 101;red\n"
    "B2;s1;alder;WL 102;blue\n",
    "odometer.csv": "unit_id,read_on,odometer_km\nB1,2026-05-01,16093\nB2,05.05.2026,8000\n",
    "photo.jpg": "no picture",
}


def test_one_press_makes_empty_records_of_ones_own(own_page, written, tmp_path):
    page, own = own_page, Home(tmp_path / "own")
    page.goto("/start")
    heading(page, "What this is, and how to begin")
    assert own.kind is None
    press(page, "Start my own records")
    page.get_by_text("Your own records are begun.").wait_for(timeout=BUILT_WITHIN_MS)
    assert own.kind == OWN
    assert bike_count(own, HERE) == 0
    for address in EMPTY_PAGES:
        page.goto(f"/{address}")
        page.get_by_text("No bike is on record yet.").first.wait_for()
        assert "Demo: invented" not in page.inner_text("body")
        no_error(page)
    fits_and_can_be_pressed(page)

    page.goto("/")
    page.get_by_role("link", name="Look at the demo").click()
    page.get_by_text("Demo: invented shops, not measured.").wait_for()
    page.get_by_role("link", name="Back to your own records").click()
    page.get_by_text("No bike is on record yet.").wait_for()


@TABLET_AND_DESKTOP
def test_a_file_with_faults_is_handed_in_corrected_and_accepted(own_page, written, tmp_path):
    page, own = own_page, Home(tmp_path / "own")
    for name, text in FILES.items():
        (tmp_path / name).write_text(text)
    page.goto("/start")
    press(page, "Start my own records")
    page.get_by_text("Your own records are begun.").wait_for(timeout=BUILT_WITHIN_MS)
    page.get_by_role("link", name="Hand in", exact=True).click()
    heading(page, "Hand files in")

    page.locator("input[type=file]").set_input_files([str(tmp_path / name) for name in FILES])
    page.get_by_text(re.compile("photo.jpg: cannot be taken in: files that end in .jpg")).wait_for()
    page.get_by_text("the column is missing; a value is required in it").first.wait_for()
    choose(page, "“Bike no”", re.compile("^unit_id"))
    choose(page, "“Plate”", "label")
    press(page, "Remember these names")
    page.get_by_text(re.compile("Read under other names: “Bike no” as unit_id")).wait_for()
    assert read_column_names(own, HERE)["units"] == {
        "Bike no": "unit_id",
        "Plate": "label",
        "Colour": "",
    }
    page.get_by_text(re.compile("4 rows can come in, 1 would be set aside")).wait_for()
    fits_and_can_be_pressed(page)
    press(page, "Hand in 3 files")
    page.get_by_role("heading", name="Hand-in 1: what became of it").wait_for(
        timeout=BUILT_WITHIN_MS
    )
    page.get_by_text("5 rows handed in: 4 accepted, 1 set aside.").wait_for()
    no_error(page)

    _correct_the_day(page)
    page.get_by_text("1 row of odometer readings handed in again.").wait_for()
    page.get_by_text("Nothing is set aside that could be corrected").wait_for()
    row = standing_rows(own, HERE, "odometer", ["B2/2026-05-05"])
    assert row["B2/2026-05-05"]["odometer_km"] == "8000"
    press(page, "Show the newer records")
    open_fold(page, "What each hand-in brought")
    page.get_by_role("cell", name="Odometer readings").first.wait_for()
    no_error(page)
    _in_miles(page)


def _correct_the_day(page) -> None:
    """Type the right day into the editable table, by keyboard from its first cell."""
    page.get_by_text("What is wrong in each row, and what was expected.").wait_for()
    grid = page.locator("[data-testid=stDataFrame]").first
    typed = grid.locator("td", has_text="2026-05-05")  # the table that is read aloud
    for _ in range(TRIES):
        _type_into_second_cell(page, grid, "2026-05-05")
        if typed.count():
            break
    assert typed.count() == 1
    page.wait_for_timeout(SETTLED_MS)
    press(page, "Hand the corrected rows in again")


def _type_into_second_cell(page, grid, words: str) -> None:
    grid.evaluate("e => e.scrollIntoView({block: 'center'})")  # clear of what stands at the foot
    page.wait_for_timeout(SETTLED_MS)
    page.keyboard.press("Escape")  # whatever an earlier try left open
    box = grid.bounding_box()
    page.mouse.click(box["x"] + 20, box["y"] + 60)
    page.wait_for_timeout(SETTLED_MS)
    for key in ("ArrowRight", "Enter", "Control+a"):
        page.keyboard.press(key)
        page.wait_for_timeout(SETTLED_MS)
    page.keyboard.type(words, delay=A_KEY_MS)
    page.keyboard.press("Enter")
    page.wait_for_timeout(SETTLED_MS)


def _in_miles(page) -> None:
    page.get_by_role("link", name="Settings", exact=True).click()
    heading(page, "Settings")
    choose(page, "Distances", "Miles")
    choose(page, "Dates", re.compile("^14 March 2026"))
    press(page, "Keep how values are shown")
    page.get_by_text("Kept in settings.toml.").wait_for()
    fits_and_can_be_pressed(page)
    page.goto("/bike?unit=B1")
    page.get_by_text("10,000 miles on 1 May 2026").first.wait_for()
    no_error(page)
