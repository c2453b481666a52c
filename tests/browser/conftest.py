"""A served demo and a headless Chromium for the tests that walk through the pages."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from pipeline.environment import CHECKOUT
from pipeline.home import Home
from tests.browser.served import HOST, free_port, wait_until_up

CHROMIUM = os.environ.get("WEAR_ATLAS_CHROMIUM") or shutil.which("chromium") or "/usr/bin/chromium"
ARGUMENTS = [
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Skip with a reason where there is no browser, unless one is required."""
    if Path(CHROMIUM).exists() or os.environ.get("WEAR_ATLAS_BROWSER_TESTS") == "required":
        return
    skip = pytest.mark.skip(reason=f"no Chromium at {CHROMIUM}")
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(skip)


@pytest.fixture(scope="session")
def demo(built_demo: Home) -> Home:
    """The demo, which all test processes look at."""
    return built_demo


@dataclass
class Served:
    """A dashboard that is being served."""

    port: int
    process: subprocess.Popen = field(repr=False)

    @property
    def address(self) -> str:
        return f"http://{HOST}:{self.port}"


@pytest.fixture(scope="session")
def served(demo: Home, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """`python -m dashboard` on a free port, with no records of a shop's own; only to be read."""
    with _serving(demo, tmp_path_factory.mktemp("served")) as found:
        yield found


@pytest.fixture
def written(demo: Home, tmp_path: Path) -> Iterator[tuple[Home, Served]]:
    """A demo of the test's own, to be entered into.

    Another builder holds it all the while: entries are saved all the same, and no build begins.
    """
    home = Home(tmp_path / "demo")
    shutil.copytree(demo.root, home.root)
    with _serving(home, tmp_path) as found, home.one_builder():
        yield home, found


@contextmanager
def _serving(demo: Home, folder: Path) -> Iterator[Served]:
    port = free_port()
    command = [
        sys.executable,
        "-m",
        "dashboard",
        "--home",
        str(folder / "own"),
        "--port",
        str(port),
    ]
    with (folder / "log").open("w") as log:
        process = subprocess.Popen(
            command,
            cwd=CHECKOUT,
            env=os.environ | {"WEAR_ATLAS_DEMO_HOME": str(demo.root)},
            stdout=log,
            stderr=subprocess.STDOUT,
        )
    try:
        wait_until_up(f"http://{HOST}:{port}", process, folder / "log")
        yield Served(port, process)
    finally:
        process.terminate()
        process.wait(timeout=20)


@pytest.fixture(scope="session")
def chromium() -> Iterator:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        # A launch without a user data folder makes a fresh one and removes it at the end.
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture
def page(chromium, served: Served, request: pytest.FixtureRequest) -> Iterator:
    """A page of 1440 x 1000; afterwards nothing may have been asked of another machine."""
    with _watched(chromium, served, getattr(request, "param", {})) as opened:
        yield opened


@pytest.fixture
def own_page(chromium, written: tuple[Home, Served], request: pytest.FixtureRequest) -> Iterator:
    """The same on the demo of the test's own; addresses may begin with ``/``."""
    with _watched(chromium, written[1], getattr(request, "param", {})) as opened:
        yield opened


@contextmanager
def _watched(chromium, served: Served, asked_for: dict) -> Iterator:
    options = {"viewport": {"width": 1440, "height": 1000}, "base_url": served.address} | asked_for
    context = chromium.new_context(**options)
    asked: list[str] = []
    context.on("request", lambda sent: asked.append(sent.url))
    opened = context.new_page()
    opened.on("websocket", lambda socket: asked.append(socket.url))
    opened.set_default_timeout(20_000)
    yield opened
    context.close()
    elsewhere = [url for url in asked if _leaves(url, served.port)]
    assert asked, "the browser asked for nothing: the check would prove nothing"
    assert elsewhere == []


def _leaves(url: str, port: int) -> bool:
    parts = urlsplit(url)
    return parts.scheme not in ("data", "blob") and (parts.hostname, parts.port) != (HOST, port)
