"""What the page of the parts stock reads from a published shop."""

import pytest

from models.stock.schemas import NEED_DAYS
from pipeline.access.stock_view import stock_view
from pipeline.access.views import NotThereError
from tests.askers import HERE


def test_a_home_without_records_says_so(home):
    with pytest.raises(NotThereError, match="No records are published yet"):
        stock_view(home, HERE)


def test_the_first_row_comes_with_its_detail(stocked_home):
    view = stock_view(stocked_home, HERE)
    assert view.one.row["part_no"] == view.rows["part_no"].iloc[0] == "P1"
    assert view.one.row["shop_name"] == "Weir Lane"
    assert view.one.demand["chance"].sum() == pytest.approx(1.0, abs=1e-3)
    assert view.one.weeks["week"].tolist() == list(range(1, 13))
    assert view.one.walk_ins["part_no"].tolist() == ["P1"]
    assert view.about["settings"]["order_by"] == "filled_share"
    assert view.transfers.empty


def test_those_who_may_ask_are_listed_by_the_horizon_that_covers_the_order(stocked_home):
    one = stock_view(stocked_home, HERE, "s1", "P1").one
    covered = one.row["covered_days"]
    assert one.asking["days"].unique().tolist() == [min(d for d in NEED_DAYS if d >= covered)]
    assert one.asking["need"].is_monotonic_decreasing
    assert len(one.asking) + len(stock_view(stocked_home, HERE).left_out) == 4


def test_a_part_that_is_not_planned_is_named(stocked_home):
    with pytest.raises(NotThereError, match="no part <b>'; drop of shop s1"):
        stock_view(stocked_home, HERE, "s1", "<b>'; drop")
