"""Homes that several modules only read, built once."""

import shutil

import pytest

from pipeline.home import Home
from tests.pipeline.faulty_shop import faulty_copy, faulty_home
from tests.pipeline.shop_files import hand_in
from tests.pipeline.stocked_shop import DAY, FILES

__all__ = ["faulty_copy", "faulty_home", "stocked_copy", "stocked_home"]


@pytest.fixture(scope="session")
def stocked_home(tmp_path_factory):
    """A published shop with parts in stock; not to be written to."""
    folder = tmp_path_factory.mktemp("stocked")
    home = Home(folder / "home").prepare(as_of=DAY)
    hand_in(home, folder / "a", FILES)
    return home


@pytest.fixture
def stocked_copy(stocked_home, tmp_path):
    """The same shop, to be written to."""
    shutil.copytree(stocked_home.root, tmp_path / "copy")
    return Home(tmp_path / "copy")
