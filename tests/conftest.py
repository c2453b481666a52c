"""Fixtures for the whole suite."""

from pathlib import Path

import pytest

from pipeline.home import Home


@pytest.fixture
def home(tmp_path: Path) -> Home:
    """An empty data home."""
    return Home(tmp_path / "home").prepare()
