"""When something stood on a page, as the browser itself keeps the time: for the page bench.

Waiting from outside will not do: Playwright looks for what it waits for every half second, once a
page takes longer than a third of one, so that its times differ by as much.
"""

from __future__ import annotations

import json

from playwright.sync_api import Page

_SCRIPT = """
(() => {
  const waited = %s;
  const noted = new Set();
  const clock = { shown: {}, pressed: null };
  const there = ([where, words]) => {
    const found = document.querySelector(where);
    return found !== null && found.textContent.startsWith(words)
      && (found.tagName !== 'IMG' || (found.complete && found.naturalWidth > 0));
  };
  const look = () => {
    for (const [name, what] of Object.entries(waited)) {
      if (noted.has(name) || !there(what)) continue;
      noted.add(name);
      // a task put in line as a frame begins runs after that frame was drawn
      requestAnimationFrame(() => setTimeout(() => { clock.shown[name] = performance.now(); }));
    }
  };
  new MutationObserver(look).observe(document, { childList: true, subtree: true });
  addEventListener('load', look, true); // of pictures, too
  addEventListener('click', () => { clock.pressed = performance.now(); }, true);
  window.pageClock = clock;
})();
"""
_LOOKED_EVERY_MS = 200

#: A CSS selector, and what the text of the first that it finds begins with.
Waited = tuple[str, str]


def keep_time(page: Page, waited: dict[str, Waited]) -> None:
    """Have each address that the page opens from now on note when what is waited for was drawn."""
    page.add_init_script(_SCRIPT % json.dumps(waited))


def shown_after_s(page: Page, *names: str) -> float:
    """Seconds from asking for the address to the frame that shows the last of what is named."""
    return max(_moment_ms(page, f"shown[{json.dumps(name)}]") for name in names) / 1000


def shown_after_press_s(page: Page, name: str) -> float:
    """Seconds from the last press on the page to the frame that shows what is named."""
    return (_moment_ms(page, f"shown[{json.dumps(name)}]") - _moment_ms(page, "pressed")) / 1000


def _moment_ms(page: Page, which: str) -> float:
    noted = page.wait_for_function(f"() => window.pageClock?.{which}", polling=_LOOKED_EVERY_MS)
    return float(noted.json_value())
