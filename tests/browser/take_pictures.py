"""Take the README's two pictures from a dashboard that is being served.

``python -m tests.browser.take_pictures http://127.0.0.1:8650 SESSION``, where SESSION is a test of
the demo whose sweep shows drop-outs.
"""

from __future__ import annotations

import sys
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from tests.browser.conftest import ARGUMENTS, CHROMIUM

FOLDER = Path(__file__).with_name("pictures")
WIDTH, HEIGHT = 1440, 1150
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


def main(address: str, session: str) -> None:
    """Take both."""
    FOLDER.mkdir(exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT}, color_scheme="light")
        take(page, address, "worklist")
        take(page, f"{address}/session?session={session}", "session", "The sweep")
        browser.close()


if __name__ == "__main__":
    main(*sys.argv[1:])
