"""How soon a changed setting shows on the page of costs, in a browser: run by hand.

``.venv/bin/python -m tests.bench.what_if_bench --home FOLDER [--rounds 5]``

On a published home of the size asked about (``tests/bench/large_home.py`` makes one). Two fresh
servers: one whose first page is that of costs, which pays for what every first page loads, and one
that has shown the worklist before. Then each setting is changed by typing and Enter, a new value
each round, and three moments are taken by an observer in the page itself: when the sentence on the
advice is another one, when that on the orders stands for the new setting, and when the plan of
checks has settled. A setting is also changed while that plan is still being worked out. Medians
and ranges are printed in seconds.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import time
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

from tests.bench.pages_bench import fresh_page, serving
from tests.browser.conftest import ARGUMENTS, CHROMIUM

#: Beginning of a field's label, the fold it stands in, and the values it is given, one a round.
SETTINGS = {
    "a cost": ("An hour of labour", "", (90, 140, 60, 110, 50)),
    "target fill rate": ("Share of the parts", "Parts stock", (0.9, 0.99, 0.85, 0.97, 0.8)),
    "bay hours": ("Share of the bay hours", "Preventive checks", (0.3, 0.1, 0.4, 0.2, 0.5)),
    "horizon": ("How far ahead", "When to replace", (300, 90, 240, 120, 180)),
}
_ADVICE, _ORDERS = "With these settings", "Parts to order today"
_SOON, _PLANNED = "being worked out anew", "would be planned"
_WATCH = """
([advice, orders, soon, planned]) => {
  const said = (words) => {
    for (const p of document.querySelectorAll('p')) {
      if (p.textContent.startsWith(words)) return p.textContent;
    }
    return '';
  };
  const checks = () => {
    let last = '';
    for (const p of document.querySelectorAll('p')) {
      if (p.textContent.includes(planned) || p.textContent.startsWith('The plan of checks')) {
        last = p.textContent;
      }
    }
    return last;
  };
  const begun = performance.now();
  const was = {advice: said(advice), orders: said(orders)};
  const seen = {begun, orders_soon: 0};
  window.wa_seen = seen;
  const look = () => {
    const now = performance.now() - begun;
    const a = said(advice), o = said(orders), c = checks();
    if (!seen.advice && a && a !== was.advice) seen.advice = now;
    if (o.includes(soon)) seen.orders_soon = now;
    if (!seen.orders && o && !o.includes(soon) && (seen.orders_soon || o !== was.orders)) {
      seen.orders = now;
    }
    if (c.includes(soon)) { seen.checks_soon = seen.checks_soon || now; seen.checks = 0; }
    if (seen.checks_soon && !seen.checks && c.includes(planned)) seen.checks = now;
  };
  if (window.wa_watch) window.wa_watch.disconnect();
  window.wa_watch = new MutationObserver(look);
  window.wa_watch.observe(document.body, {subtree: true, childList: true, characterData: true});
}
"""
_WITHIN_MS = 180_000


def opened_s(page: Page, address: str) -> tuple[float, float]:
    """Seconds until the orders stand on the page, and until the plan of checks has settled."""
    begun = time.perf_counter()
    page.goto(f"{address}/costs", wait_until="commit")
    page.get_by_text(_ADVICE).first.wait_for(timeout=_WITHIN_MS)
    page.locator("p", has_text=_ORDERS).filter(has_not_text=_SOON).first.wait_for(
        timeout=_WITHIN_MS
    )
    up = time.perf_counter() - begun
    page.locator("p", has_text=_PLANNED).first.wait_for(timeout=_WITHIN_MS)
    return up, time.perf_counter() - begun


def change(page: Page, label: str, value: float) -> None:
    """Type a value into a field; time runs from the press of Enter."""
    field = page.locator(f"input[aria-label^='{label}']").first
    field.fill(str(value))
    page.evaluate(_WATCH, [_ADVICE, _ORDERS, _SOON, _PLANNED])
    field.press("Enter")


def seconds_seen(page: Page, *moments: str) -> dict[str, float | None]:
    """What the observer saw, once it has seen the last of these; None where nothing changed."""
    page.wait_for_function(f"window.wa_seen && window.wa_seen.{moments[-1]}", timeout=_WITHIN_MS)
    seen = page.evaluate("window.wa_seen")
    return {name: seen[name] / 1000 if seen.get(name) else None for name in moments}


def measured(browser: Browser, home: Path, rounds: int) -> dict[str, list[float]]:
    """Seconds by what was waited for."""
    times: dict[str, list[float]] = {}

    def note(what: str, seconds: float | None) -> None:
        if seconds is not None:
            times.setdefault(what, []).append(seconds)

    with serving(None, home) as address, fresh_page(browser) as (page, _):
        up, settled = opened_s(page, address)
        note("opened as the first page of a server", up)
        note("  its plan of checks settled", settled)
    with serving(None, home) as address, fresh_page(browser) as (page, _):
        page.goto(address)
        page.locator(".wa-list a.wa-bike").first.wait_for(timeout=_WITHIN_MS)
        page.wait_for_timeout(3_000)
        up, settled = opened_s(page, address)
        note("opened after the worklist", up)
        note("  its plan of checks settled", settled)
        for fold in {fold for _, fold, _ in SETTINGS.values() if fold}:
            page.locator("summary", has_text=fold).first.click()
        page.wait_for_timeout(1_500)
        for name, (label, _, values) in SETTINGS.items():
            for value in values[:rounds]:
                change(page, label, value)
                for moment, seconds in seconds_seen(page, "advice", "orders", "checks").items():
                    note(f"{name}: {moment}", seconds)
                page.wait_for_timeout(800)
        label, _, values = SETTINGS["a cost"]
        for value in values[:rounds]:
            change(page, label, value)
            page.wait_for_timeout(2_500)
            change(page, label, value + 1)
            for moment, seconds in seconds_seen(page, "orders", "checks").items():
                note(f"a cost again while checks are planned: {moment}", seconds)
            page.wait_for_timeout(800)
    return times


def main(arguments: list[str] | None = None) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="what_if_bench", description=__doc__.splitlines()[0])
    parser.add_argument("--home", type=Path, required=True, help="a published home")
    parser.add_argument("--rounds", type=int, default=5, choices=range(1, 6))
    asked = parser.parse_args(arguments)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        times = measured(browser, asked.home, asked.rounds)
        browser.close()
    for what, seconds in times.items():
        spread = f"{min(seconds):.2f} to {max(seconds):.2f} s, {len(seconds)} times"
        print(f"{what:48} {statistics.median(seconds):6.2f} s   {spread}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
