"""The owner's and the operator's pages of a home to which nothing was handed in."""

from __future__ import annotations

from datetime import date

import pytest

from pipeline.access.fleet_view import fleet_view
from pipeline.access.repairs_view import repairs_view
from pipeline.access.stock_book import stock_book
from pipeline.home import Home
from pipeline.warehouse.build import build
from tests.askers import HERE


@pytest.fixture(scope="module")
def empty(tmp_path_factory):
    home = Home(tmp_path_factory.mktemp("empty") / "home").prepare(as_of=date(2026, 6, 1))
    with home.one_builder():
        build(home)
    return home


def test_the_fleet_is_empty(empty):
    view = fleet_view(empty, HERE)
    assert view.bikes.empty
    assert view.weeks.empty
    assert view.windows.empty
    assert view.visits.empty
    assert 0 < view.road_share < 1


def test_no_part_can_be_counted_yet(empty):
    assert stock_book(empty, HERE).rows.empty


def test_no_job_is_counted_and_nothing_was_saved_or_spent(empty):
    view = repairs_view(empty, HERE)
    assert view.rates["n"].sum() == 0
    assert view.rates["share"].isna().all()
    assert (view.saved.estimate, view.saved.since) == (0.0, None)
