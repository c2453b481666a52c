"""How fast pages come up beside an empty Streamlit page, and what they send: run by hand.

``.venv/bin/python -m tests.bench.pages_bench [--home FOLDER] [--rounds 5]``
``.venv/bin/python -m tests.bench.pages_bench --first-page-of HOME [HOME ...]``, how the first page
grows with the records: on homes that ``large_home`` made, of different names.

In headless Chromium, each round a fresh browser context: an empty Streamlit page, the worklist
cold, the page of a bench test of 60,000 samples that nobody has opened yet, and from the worklist
to a bike without loading anything again. A page is up when its heading and, on the worklist, its
first row and, on the test's page, its trace are drawn. Medians are printed as ratios to the empty
page of the same run; websocket bytes are those the server sends, counted by the browser: of the
first view with all that is drawn unasked, then of each thing asked for on it.

The browser keeps the time itself, from the moment it asks for the address or the link is pressed to
the frame after the one that first shows what is waited for. Waiting for it from outside would look
every half second alone, and give times apart by as much.
"""

from __future__ import annotations

import argparse
import os
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.error import URLError
from urllib.request import urlopen

from playwright.sync_api import Browser, Page, sync_playwright

from dashboard.start import command
from pipeline.environment import CHECKOUT
from tests.bench.long_sweep_home import long_sweep_home, long_tests
from tests.bench.page_clock import keep_time, shown_after_press_s, shown_after_s
from tests.browser.conftest import ARGUMENTS, CHROMIUM, HOST

Measures = dict[str, list[float]]
EMPTY = 'import streamlit as st\n\nst.html("<h1>Empty</h1>")\n'
START_WITHIN_S = 60
_ROW = ".wa-list a.wa-bike"
_WAITED = {
    "heading": ("h1", ""),
    "first row": (_ROW, ""),
    "bike": ("h1", "Bike "),
    "trace": (".wa-plot img", ""),
}
_LAST = "text=Save this test's tables"
_PASSES = "Passes laid over the travel, and an earlier test behind them"


@contextmanager
def serving(script: Path | None, home: Path) -> Iterator[str]:
    """The dashboard, or a script of its own, served on a free port; its address."""
    with served(script, home) as (address, _):
        yield address


@contextmanager
def served(script: Path | None, home: Path) -> Iterator[tuple[str, int]]:
    """The same with the number of its process."""
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        port = probe.getsockname()[1]
    line = command(port)
    if script is not None:
        line[line.index("run") + 1] = str(script)
    known = {
        "WEAR_ATLAS_HOME": str(home.parent / "no-own-home"),
        "WEAR_ATLAS_DEMO_HOME": str(home),
        "PYTHONPATH": CHECKOUT,
    }
    process = subprocess.Popen(
        line,
        cwd=CHECKOUT,
        env=os.environ | known,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        _wait_until_up(port)
        yield f"http://{HOST}:{port}", process.pid
    finally:
        process.terminate()
        process.wait(timeout=20)


def _wait_until_up(port: int) -> None:
    until = time.monotonic() + START_WITHIN_S
    while time.monotonic() < until:
        try:
            with urlopen(f"http://{HOST}:{port}/_stcore/health", timeout=2):
                return
        except (URLError, OSError):
            time.sleep(0.2)
    raise TimeoutError(f"nothing answers on port {port}")


class Received:
    """Bytes that came in by the page's websocket, since the last time they were asked for."""

    def __init__(self, page: Page) -> None:
        self._bytes = 0
        page.on("websocket", lambda sock: sock.on("framereceived", self._count))

    def _count(self, payload: str | bytes) -> None:
        self._bytes += len(payload.encode() if isinstance(payload, str) else payload)

    def taken(self) -> int:
        """The count, which begins anew."""
        count, self._bytes = self._bytes, 0
        return count


@contextmanager
def fresh_page(browser: Browser) -> Iterator[tuple[Page, Received]]:
    """A page without any cache, which keeps the time."""
    context = browser.new_context(viewport={"width": 1440, "height": 1000})
    page = context.new_page()
    page.set_default_timeout(60_000)
    keep_time(page, _WAITED)
    yield page, Received(page)
    context.close()


def settle(page: Page) -> None:
    """Wait until the script has ended and the charts have been drawn."""
    page.wait_for_timeout(500)
    page.locator("[data-test-script-state=notRunning]").wait_for(state="attached")
    page.wait_for_timeout(1500)


def measured(home: Path, rounds: int) -> tuple[Measures, Measures]:
    """Seconds by kind of page, one a round; kB by what was asked for on a test's page."""
    times: Measures = {name: [] for name in ("empty", "worklist", "switch", "test words", "test")}
    sent: Measures = {}
    with (
        tempfile.TemporaryDirectory() as folder,
        sync_playwright() as playwright,
    ):
        script = Path(folder) / "empty.py"
        script.write_text(EMPTY, encoding="utf-8")
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        with serving(script, home) as empty, serving(None, home) as ours:
            first, *others = long_tests()
            for address in (empty, ours, f"{ours}/session?session={first}"):  # imports
                with fresh_page(browser) as (page, _):
                    page.goto(address, wait_until="commit")
                    shown_after_s(page, "heading")
                    settle(page)
            for number in range(rounds):
                one_round(browser, empty, ours, others[number % len(others)], times)
            with fresh_page(browser) as (page, received):
                what_is_sent(page, received, f"{ours}/session?session={others[-1]}", sent)
        browser.close()
    return times, sent


def first_pages(homes: list[Path], rounds: int) -> Measures:
    """Seconds to the worklist by home, and to an empty page, cold and warm; homes take turns.

    Cold is the first page of a server begun anew, its imports and all; warm the first page of a
    fresh browser, once somebody else has seen it. The server's own work is told beside it, since
    on a busy machine the time hangs on what else is running.
    """
    times: Measures = {}
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        script = Path(folder) / "empty.py"
        script.write_text(EMPTY, encoding="utf-8")
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        of_each = {"empty": (script, homes[0])} | {home.name: (None, home) for home in homes}
        for _ in range(rounds):
            for name, (what, home) in of_each.items():
                waited = ("heading",) if what else ("heading", "first row")
                with served(what, home) as (address, process):
                    for kind in ("cold", "warm", "warm"):
                        begun_s = _worked_s(process)
                        with fresh_page(browser) as (page, _):
                            page.goto(address, wait_until="commit")
                            shown_s = shown_after_s(page, *waited)
                            settle(page)
                        times.setdefault(f"{name} {kind}", []).append(shown_s)
                        worked_s = _worked_s(process) - begun_s
                        times.setdefault(f"{name} {kind} work", []).append(worked_s)
        browser.close()
    return times


def _worked_s(process: int) -> float:
    """Processor time of a process so far, s; where the system does not tell it, nothing."""
    try:
        told = Path(f"/proc/{process}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
    except FileNotFoundError:
        return 0.0
    return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")


def say_first_pages(times: Measures, homes: list[Path]) -> None:
    """Medians, each beside the empty page's and beside the first home's."""
    for kind in ("cold", "warm"):
        empty, first = (statistics.median(times[f"{n} {kind}"]) for n in ("empty", homes[0].name))
        for name in ("empty", *(home.name for home in homes)):
            seconds = times[f"{name} {kind}"]
            middle = statistics.median(seconds)
            print(
                f"{kind} {name:12} {middle:6.2f} s  {middle / empty:5.2f} x empty  "
                f"{middle / first:5.2f} x {homes[0].name}   {min(seconds):.2f} to "
                f"{max(seconds):.2f} s; server's work "
                f"{statistics.median(times[f'{name} {kind} work']):.2f} s"
            )


def one_round(browser: Browser, empty: str, ours: str, test: str, times: Measures) -> None:
    """Each kind of page once."""
    with fresh_page(browser) as (page, _):
        page.goto(empty, wait_until="commit")
        times["empty"].append(shown_after_s(page, "heading"))
    with fresh_page(browser) as (page, _):
        page.goto(ours, wait_until="commit")
        times["worklist"].append(shown_after_s(page, "heading", "first row"))
        settle(page)
        page.locator(_ROW).first.click()
        times["switch"].append(shown_after_press_s(page, "bike"))
    with fresh_page(browser) as (page, _):
        page.goto(f"{ours}/session?session={test}", wait_until="commit")
        times["test words"].append(shown_after_s(page, "heading"))
        times["test"].append(shown_after_s(page, "heading", "trace"))


def what_is_sent(page: Page, received: Received, address: str, sent: Measures) -> None:
    """Bytes of a test's page as it opens, and of each thing asked for on it."""
    page.goto(address, wait_until="commit")
    shown_after_s(page, "heading", "trace")
    page.locator(_LAST).wait_for()
    settle(page)
    sent["first view"] = [received.taken() / 1000]
    asked = {
        "a part of the trace": lambda: _press(page, "Nearer"),
        "the first drop-out": lambda: _press(page, "First drop-out"),
        "the next drop-out": lambda: _press(page, "Next drop-out"),
        "passes over the travel": lambda: page.get_by_text(_PASSES).click(),
        "an earlier test behind": lambda: _choose(page, "Lay over an earlier test", 1),
    }
    for name, ask in asked.items():
        ask()
        settle(page)
        sent[name] = [received.taken() / 1000]


def _press(page: Page, words: str) -> None:
    page.get_by_role("button", name=words, exact=True).click()


def _choose(page: Page, field: str, place: int) -> None:
    page.get_by_role("combobox", name=field).click()
    page.wait_for_timeout(700)
    page.get_by_role("option").nth(place).click()


def say_sent(sent: Measures) -> None:
    """Kilobytes by what was asked for."""
    for name, (kilobytes,) in sent.items():
        print(f"{name:24} {kilobytes:7.1f} kB")


def say_times(times: Measures) -> None:
    """Medians, each beside the empty page's."""
    base = statistics.median(times["empty"])
    for name, seconds in times.items():
        middle = statistics.median(seconds)
        spread = f"{min(seconds):.2f} to {max(seconds):.2f} s"
        print(f"{name:12} {middle:6.2f} s  {middle / base:5.2f} x empty   {spread}")


def main(arguments: list[str] | None = None) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="pages_bench", description=__doc__.splitlines()[0])
    parser.add_argument("--home", type=Path, help="a home of the bench; built where there is none")
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument(
        "--first-page-of", type=Path, nargs="+", metavar="HOME", help="the worklist of these alone"
    )
    asked = parser.parse_args(arguments)
    if asked.first_page_of:
        say_first_pages(first_pages(asked.first_page_of, asked.rounds), asked.first_page_of)
        return 0
    with tempfile.TemporaryDirectory() as folder:
        home = long_sweep_home(asked.home or Path(folder) / "home")
        times, sent = measured(home.root, asked.rounds)
        say_times(times)
        say_sent(sent)
    return 0


if __name__ == "__main__":
    sys.exit(main())
