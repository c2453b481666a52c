"""A shop with twelve sweeps, each measured by itself, for jobs that are interrupted."""

from __future__ import annotations

import shutil

import pytest

from pipeline.home import Home
from pipeline.intake.receive import receive
from pipeline.jobs.ingest import rebuild
from tests.pipeline.jobs.interrupted import FILES
from tests.pipeline.shop_files import NOW, write_files
from tests.pipeline.stocked_shop import DAY


@pytest.fixture(scope="session")
def handed_in(tmp_path_factory) -> Home:
    """Twelve sweeps handed in and nothing built; not to be written to."""
    folder = tmp_path_factory.mktemp("cancelled")
    home = Home(folder / "home").prepare(as_of=DAY)
    receive(home, [write_files(folder / "files", FILES)], NOW)
    return home


@pytest.fixture(scope="session")
def built_by_one(handed_in, tmp_path_factory) -> Home:
    """The same built by one process; not to be written to."""
    root = tmp_path_factory.mktemp("by_one") / "home"
    shutil.copytree(handed_in.root, root)
    rebuild(Home(root))
    return Home(root)
