"""Fixtures for the whole suite."""

import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from filelock import FileLock
from hypothesis import settings

from pipeline.home import Home
from pipeline.jobs.demo import ensure_demo
from tests.pipeline.shop_files import hand_in
from tests.pipeline.stocked_shop import DAY, FILES

# No test is timed: how long a case takes hangs on the machine.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")


@pytest.fixture
def home(tmp_path: Path) -> Home:
    """An empty data home."""
    return Home(tmp_path / "home").prepare()


@pytest.fixture(scope="session")
def built_once(tmp_path_factory: pytest.TempPathFactory, worker_id: str) -> Callable:
    """Build a home by its name, once for all test processes."""
    base = tmp_path_factory.getbasetemp()
    shared = base if worker_id == "master" else base.parent

    def build(name: str, fill: Callable[[Path], None]) -> Home:
        folder = shared / name
        with FileLock(shared / f"{name}.lock"):
            if not (folder / "finished").exists():
                folder.mkdir(exist_ok=True)
                fill(folder)
                (folder / "finished").touch()
        return Home(folder / "home")

    return build


@pytest.fixture(scope="session")
def stocked_home(built_once: Callable) -> Home:
    """A published shop with parts in stock; not to be written to."""

    def fill(folder: Path) -> None:
        hand_in(Home(folder / "home").prepare(as_of=DAY), folder / "a", FILES)

    return built_once("stocked", fill)


@pytest.fixture
def stocked_copy(stocked_home: Home, tmp_path: Path) -> Home:
    """The same shop, to be written to."""
    shutil.copytree(stocked_home.root, tmp_path / "copy")
    return Home(tmp_path / "copy")


@pytest.fixture(scope="session")
def built_demo(tmp_path_factory: pytest.TempPathFactory, worker_id: str) -> Home:
    """The demo, built once for all test processes, or copied where one is built already.

    Not to be written to.
    """
    base = tmp_path_factory.getbasetemp()
    shared = base if worker_id == "master" else base.parent
    with FileLock(shared / "demo.lock"):
        home = Home(shared / "demo")
        built = os.environ.get("WEAR_ATLAS_TEST_DEMO")
        if built and not home.root.exists():
            shutil.copytree(built, home.root)
        ensure_demo(home)
    return home
