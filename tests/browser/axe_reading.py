"""What axe-core finds on a page: the copy of it that the package brings, nothing is fetched."""

from __future__ import annotations

from axe_playwright_python.sync_playwright import Axe

SETTLED_MS = 700
HIGHEST_PX = 15_000
_SHOWN = 160  # characters of the element at fault

#: What an empty Streamlit page breaks by itself: nothing any more. A rule goes in here, with the
#: element it names, only where the test of the empty page shows it.
ALLOWED: frozenset[str] = frozenset()


def broken_rules(page) -> list[str]:
    """Every rule broken, with the element that breaks it; those allowed are left out."""
    found = Axe().run(page).response
    assert found["passes"], "nothing was checked"
    return [
        f"{rule['id']}: {node['target']}: {node['html'][:_SHOWN]}"
        for rule in found["violations"]
        for node in rule["nodes"]
        if f"{rule['id']} {node['target'][0]}" not in ALLOWED
    ]


def settle(page) -> None:
    """Wait until the script has ended and what it drew stands, folds of our own open, all in sight.

    Contrast is judged only of what can be seen: the window is made as high as the page.
    """
    page.locator("h1").first.wait_for()
    page.wait_for_timeout(SETTLED_MS)
    page.locator("[data-test-script-state=notRunning]").wait_for(state="attached")
    page.evaluate("document.querySelectorAll('details.wa-fold').forEach(d => { d.open = true; })")
    height = page.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight")
    page.set_viewport_size(page.viewport_size | {"height": min(height + 100, HIGHEST_PX)})
    page.wait_for_timeout(SETTLED_MS)
