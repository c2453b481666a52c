"""Where newer records cannot be read, every page says so and shows those before them."""

import pytest

from pipeline.warehouse.publish import newest
from tests.dashboard.page_app import page_at, words_of
from tests.pipeline.damage_done import cut_short, published_again
from tests.pipeline.faulty_shop import faulty_copy, faulty_home

__all__ = ["faulty_copy", "faulty_home"]


@pytest.fixture
def shop(faulty_copy, monkeypatch):
    monkeypatch.setenv("WEAR_ATLAS_HOME", str(faulty_copy.root))
    monkeypatch.setattr("dashboard.surround.take_up_if_due", lambda home: None)
    return faulty_copy


def test_a_page_shows_the_version_before_a_damaged_one_and_says_why(shop):
    published_again(shop)
    cut_short(newest(shop).path)
    page_at("bike", unit="B1")  # whoever meets it first marks it
    said = words_of(page_at("bike", unit="B1"))
    assert "Newer records cannot be read (version 2: its warehouse" in said
    assert "Nothing handed in is lost by it" in said
    assert "version 1." in said


def test_a_page_without_any_readable_version_says_what_to_do(shop):
    cut_short(newest(shop).path)
    said = words_of(page_at("bike", unit="B1"))
    assert "python3 -m pipeline rebuild" in said
