"""A published shop for the pages that are tested on real records."""

import shutil

import pytest

from pipeline.home import Home


@pytest.fixture
def own_shop(stocked_home, tmp_path, monkeypatch) -> Home:
    """The stocked shop as the shop's own home, to be written to; builds are not begun by pages."""
    shutil.copytree(stocked_home.root, tmp_path / "own")
    monkeypatch.setenv("WEAR_ATLAS_HOME", str(tmp_path / "own"))
    monkeypatch.setattr("dashboard.surround.take_up_if_due", lambda home: None)
    return Home(tmp_path / "own")
