"""A control unit's log dropped in at the bench: nothing more to say, and nothing cleared by it."""

from __future__ import annotations

import re

import pytest

from pipeline.access.entered.pending import pending_rows
from tests.askers import HERE
from tests.browser.forms import choose, press, type_number
from tests.browser.test_owner_walk import TABLET_AND_DESKTOP
from tests.browser.test_technician_walk import BIKE, LABEL
from tests.browser.test_walk import fits_and_can_be_pressed, heading, no_error
from tests.pipeline.intake.loggers.recorded import candump_text

pytestmark = [pytest.mark.browser, pytest.mark.long]


@TABLET_AND_DESKTOP
def test_a_can_log_dropped_at_the_bench_is_saved_and_clears_nothing(own_page, written):
    page = own_page
    page.goto(f"/bench?unit={BIKE}")
    heading(page, f"Bench test of bike {LABEL}")
    type_number(page, "Odometer, km", 85_000)
    choose(page, "Step", re.compile("Slow passes"))
    log = candump_text(8.0, second=True).encode()
    page.locator("input[type=file]").set_input_files(
        {"name": "polled.log", "mimeType": "text/plain", "buffer": log}
    )
    page.get_by_text("is kept with this test").wait_for()
    page.get_by_text("A CAN log (candump text).").wait_for()
    page.get_by_text("By the rules: cannot tell").wait_for()
    page.get_by_text("passes over most drop-outs").wait_for()
    fits_and_can_be_pressed(page)
    choose(page, "Step", re.compile("Verdict"))
    press(page, "Save the test")
    page.wait_for_url("**/session?session=*")
    heading(page, "Bench test of")
    page.get_by_text("Drop-outs shorter than 125 ms").first.wait_for()
    no_error(page)
    (test,) = pending_rows(written[0], HERE, "test_sessions")["test_sessions"].values()
    assert test["sweep_channel"] == "percent"
