"""Take the README's three pictures from a dashboard that is being served.

``python -m tests.browser.take_pictures http://127.0.0.1:8650 SESSION BIKE``, where SESSION is a test of
the demo whose sweep shows drop-outs and BIKE a bike whose test is begun (and not saved).
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from tests.browser.conftest import ARGUMENTS, CHROMIUM
from tests.browser.forms import type_number

FOLDER = Path(__file__).with_name("pictures")
WIDTH, HEIGHT, BENCH_HEIGHT = 1440, 1150, 960
SETTLED_MS = 2500


def take(page: Page, address: str, name: str, heading: str | None = None) -> Path:
    """One picture, from the top of the page or from one of its headings down."""
    page.goto(address)
    page.locator("h1").wait_for()
    page.wait_for_timeout(SETTLED_MS)
    if heading:
        page.get_by_role("heading", level=2, name=heading).evaluate("e => e.scrollIntoView()")
        page.wait_for_timeout(SETTLED_MS)
    path = FOLDER / f"{name}.png"
    page.screenshot(path=path)
    return path


def take_bench(page: Page, address: str, bike: str) -> Path:
    """A bench test while its readings at both ends are typed."""
    page.goto(f"{address}/bench?unit={bike}")
    for step in ("Stored codes", "Supply"):
        _next(page, step)
    type_number(page, "Reference pin to battery negative, V", 4.98)
    for step in ("Ground", "Plug and lead", "Signal at both ends"):
        _next(page, step)
    type_number(page, "Closed, V", 0.71)
    type_number(page, "Open, V", 4.3)
    page.wait_for_timeout(SETTLED_MS)
    path = FOLDER / "bench.png"
    page.screenshot(path=path)
    return path


def _next(page: Page, step: str) -> None:
    page.get_by_role("button", name="Next step", exact=True).click()
    page.get_by_role("heading", level=2, name=re.compile(rf"\. {step}$")).wait_for()


def main(address: str, session: str, bike: str) -> None:
    """Take all three."""
    FOLDER.mkdir(exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT}, color_scheme="light")
        take(page, address, "worklist")
        take(page, f"{address}/session?session={session}", "session", "The sweep")
        page.set_viewport_size({"width": WIDTH, "height": BENCH_HEIGHT})
        take_bench(page, address, bike)
        browser.close()


if __name__ == "__main__":
    main(*sys.argv[1:])
