"""Homes that several modules only read, built once."""

import pytest

from pipeline.home import Home
from tests.pipeline.shop_files import hand_in
from tests.pipeline.stocked_shop import DAY, FILES


@pytest.fixture(scope="session")
def stocked_home(tmp_path_factory):
    """A published shop with parts in stock; not to be written to."""
    folder = tmp_path_factory.mktemp("stocked")
    home = Home(folder / "home").prepare(as_of=DAY)
    hand_in(home, folder / "a", FILES)
    return home
