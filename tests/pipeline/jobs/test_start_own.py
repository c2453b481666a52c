"""A shop's own home begins empty and published; one that nobody began is left alone."""

import pytest

from pipeline.home import DEMO, OWN, Home, HomeError
from pipeline.jobs.ingest import ensure_current
from pipeline.jobs.start_own import start_own
from pipeline.warehouse.publish import newest
from tests.pipeline.shop_files import SHOP, hand_in, query


def test_what_is_handed_in_afterwards_comes_in_as_anywhere(tmp_path):
    home = Home(tmp_path / "own")
    manifest = start_own(home)
    assert (home.kind, manifest.version, manifest.hand_in) == (OWN, 1, 0)
    assert home.set_aside.exists()
    report = hand_in(home, tmp_path / "a", SHOP)
    assert query(home, report, "select count(*) from marts.sensor_lives") == [(2,)]


def test_a_home_that_was_begun_and_not_published_is_published_at_the_next_start(home):
    ensure_current(home)
    assert newest(home).version == 1


def test_a_home_that_nobody_began_is_left_alone(tmp_path):
    ensure_current(Home(tmp_path / "none"))
    assert not (tmp_path / "none").exists()


def test_the_demo_is_never_begun_in(tmp_path):
    home = Home(tmp_path / "demo").prepare(DEMO)
    with pytest.raises(HomeError, match="never mix"):
        start_own(home)


def test_a_home_that_is_being_built_is_not_built_twice(home):
    with home.one_builder(), pytest.raises(HomeError, match="Another builder is at work"):
        start_own(home)
