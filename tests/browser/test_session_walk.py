"""The walk over one bench test: near to a part, drop-out by drop-out, an earlier test, the sheet."""

from __future__ import annotations

import re
from pathlib import Path

import pypdfium2
import pytest

from tests.browser.forms import SETTLED_MS, choose, open_fold, press, type_number
from tests.browser.swept_tests import with_dropouts
from tests.browser.test_walk import SIZES, fits_and_can_be_pressed, heading, no_error

pytestmark = [pytest.mark.browser, pytest.mark.long]

EACH_SIZE = pytest.mark.parametrize(
    "page",
    [{"viewport": dict(zip(("width", "height"), size, strict=True))} for size in SIZES.values()],
    ids=SIZES,
    indirect=True,
)
_PART = re.compile(r"From [\d.]+ s to [\d.]+ s: ")


@pytest.fixture
def opened(page, demo):
    """The page of a test with drop-outs and an earlier test, and how many it has."""
    session_id, count = with_dropouts(demo)
    page.goto(f"/session?session={session_id}")
    heading(page, "Bench test of")
    page.locator(".wa-plot img").wait_for()
    page.get_by_role("heading", name="Save this test's tables").wait_for()
    return page, session_id, count


def part_shown(page) -> tuple[float, float]:
    said = page.locator("p.wa-reading", has_text=_PART).first
    said.wait_for()
    start, end = re.findall(r"([\d.]+) s", said.inner_text())[:2]
    return float(start), float(end)


@EACH_SIZE
def test_one_looks_at_a_part_from_near_and_at_the_whole_again(opened):
    page, _, _ = opened
    press(page, "Nearer")
    start, _ = part_shown(page)
    assert start > 0
    page.get_by_text("recorded there are drawn").wait_for()
    press(page, "Earlier")
    page.wait_for_timeout(2 * SETTLED_MS)
    assert part_shown(page)[0] < start
    type_number(page, "From, s", 1)
    type_number(page, "To, s", 2)
    press(page, "Show this part")
    page.get_by_text("From 1 s to 2 s: ").wait_for()
    fits_and_can_be_pressed(page)
    press(page, "Whole sweep")
    page.locator("p.wa-reading", has_text="The sweep lasts").wait_for()
    no_error(page)


def test_a_window_drawn_over_the_trace_is_shown_from_near(opened):
    page, _, _ = opened
    page.get_by_role("img", name=re.compile("The sweep lasts")).wait_for()
    press(page, "Draw a part")
    page.locator(".wa-plot").wait_for(state="detached")
    page.wait_for_timeout(3 * SETTLED_MS)
    picture = page.locator("[data-testid=stVegaLiteChart]").first
    picture.scroll_into_view_if_needed()
    page.wait_for_timeout(2 * SETTLED_MS)
    box = picture.bounding_box()
    middle = box["y"] + box["height"] / 2
    page.mouse.move(box["x"] + 0.4 * box["width"], middle)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.5 * box["width"], middle, steps=5)
    page.mouse.move(box["x"] + 0.6 * box["width"], middle, steps=5)
    page.mouse.up()
    start, end = part_shown(page)
    assert 0 < start < end
    no_error(page)


@EACH_SIZE
def test_one_steps_from_drop_out_to_drop_out_by_keyboard_alone(opened):
    page, session_id, count = opened
    page.get_by_role("button", name="First drop-out").focus()
    page.keyboard.press("Enter")
    page.get_by_text(f"Drop-out 1 of {count}: at ").wait_for()
    assert page.url.endswith(f"/session?session={session_id}&dropout=1")
    page.get_by_text("in the 200 ms before it").wait_for()
    page.get_by_role("button", name="Next drop-out").focus()
    page.keyboard.press("Enter")
    page.get_by_text(f"Drop-out 2 of {count}: at ").wait_for()
    fits_and_can_be_pressed(page)
    page.get_by_role("button", name="Drop-out before").focus()
    page.keyboard.press("Enter")
    page.get_by_text(f"Drop-out 1 of {count}: at ").wait_for()
    page.reload()
    page.get_by_text(f"Drop-out 1 of {count}: at ").wait_for()
    no_error(page)


@EACH_SIZE
def test_an_earlier_test_is_laid_behind_the_passes(opened):
    page, _, _ = opened
    open_fold(page, "Passes laid over the travel")
    page.get_by_text("closing pass").first.wait_for()
    charts = page.locator("[data-testid=stVegaLiteChart]")
    before = charts.count()
    choose(page, "Lay over an earlier test", re.compile(r"^\d{4}-\d\d-\d\d, test (?!.*the sensor)"))
    page.get_by_text("Behind: ").wait_for()
    page.get_by_text("judged in both tests").first.wait_for()
    charts.nth(before).wait_for()
    choose(page, "Drawn", "Departure from the straight line, enlarged")
    page.get_by_text("departure from the straight line, % of applied").first.wait_for()
    fits_and_can_be_pressed(page)
    no_error(page)


@EACH_SIZE
def test_the_job_sheet_is_saved_in_both_forms_and_stands_by_itself(opened, chromium):
    page, session_id, _ = opened
    with page.expect_download() as taken:
        press(page, "Job sheet, PDF")
    assert taken.value.suggested_filename == f"{session_id}_job_sheet.pdf"
    document = pypdfium2.PdfDocument(Path(taken.value.path()).read_bytes())
    words = " ".join(leaf.get_textpage().get_text_range() for leaf in document)
    assert session_id in words
    assert "No statement that the bike is safe" in " ".join(words.split())

    with page.expect_download() as taken:
        press(page, "Job sheet, web page")
    saved = Path(taken.value.path()).rename(Path(taken.value.path()).with_suffix(".html"))
    context = chromium.new_context(viewport=page.viewport_size)
    asked: list[str] = []
    context.on("request", lambda sent: asked.append(sent.url))
    sheet = context.new_page()
    sheet.goto(saved.as_uri())
    heading(sheet, "Job sheet: bike ")
    assert sheet.locator("svg").count() == 2
    assert asked == [saved.as_uri()]
    assert sheet.evaluate("document.body.scrollWidth <= window.innerWidth")
    context.close()
