from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from models.plans.settings import PlanSettings
from pipeline.access.check_plan_view import check_plan_view
from pipeline.access.reading import NotThereError
from pipeline.access.stock_view import stock_view
from pipeline.access.what_if import (
    advice_if,
    checks_if,
    orders_if,
    standing,
    weigh_anew,
    what_if_base,
)
from pipeline.access.worklist_view import WorklistAsked, worklist_found, worklist_view
from pipeline.intake.settings.settings_edit import keep_settings
from pipeline.intake.settings.settings_file import read_settings
from pipeline.jobs.ingest import rebuild
from tests.askers import HERE
from tests.pipeline.shop_files import SHOP, hand_in


@pytest.fixture
def shop(home, tmp_path):
    hand_in(home, tmp_path / "a", SHOP)
    return home


def overtaken():
    raise KeyError("overtaken")


def test_a_home_without_records_says_so(home):
    with pytest.raises(NotThereError):
        what_if_base(home, HERE)


def test_the_settings_of_the_build_give_its_advice_and_orders(shop):
    base = what_if_base(shop, HERE)
    assert base.built_with == base.in_file == PlanSettings()
    anew = weigh_anew(base, base.built_with)
    found = advice_if(base, anew)
    assert found.sensors["action"].tolist() == found.sensors["action_as_built"].tolist()
    listed = worklist_found(shop, HERE, WorklistAsked())
    in_order = listed.sort_values(["urgency", "sensor_id"], ascending=[False, True])
    assert found.sensors["sensor_id"].tolist() == in_order["sensor_id"].tolist()
    orders = orders_if(base, anew)
    assert orders["order_parts"].tolist() == orders["order_parts_as_built"].tolist()
    assert orders["need"].to_numpy() == pytest.approx(orders["need_as_built"].to_numpy(), rel=1e-6)
    assert found.expected["sensor_count"] > 0
    estimate, fits = base.expected.iloc[0], base.expected.iloc[1:]
    assert found.expected["following"] == pytest.approx(estimate["following"])
    assert found.expected["doing_nothing"] == pytest.approx(estimate["doing_nothing"])
    assert len(fits) == 10
    assert fits["doing_nothing"].nunique() == 10


def test_the_settings_of_the_build_give_its_plan_of_checks(shop):
    base = what_if_base(shop, HERE)
    anew = weigh_anew(base, base.built_with)
    with pytest.raises(KeyError, match="overtaken"):
        checks_if(base, anew, overtaken)
    assert "work" not in vars(anew)  # given up before anything was laid out for it
    checks = checks_if(base, anew)
    assert checks["visit_count"].tolist() == checks["visit_count_as_built"].tolist()
    visits = check_plan_view(shop, HERE).visits
    assert checks["saves"].sum() == pytest.approx(visits["saves"].sum(), abs=0.01)
    dear = visits[visits["saves"] < 0]
    assert checks["owed_count"].sum() == len(dear)
    assert checks["owed_adds"].sum() == pytest.approx(-dear["saves"].sum(), abs=0.01)
    none = checks_if(base, weigh_anew(base, PlanSettings(check_share_of_bay_hours=0.0)))
    assert none["visit_count"].eq(0).all()


def test_other_settings_move_the_cost(shop):
    base = what_if_base(shop, HERE)
    first = weigh_anew(base, base.built_with)
    built = orders_if(base, first)
    level, dearer = (
        weigh_anew(base, replace(base.built_with, **moved))
        for moved in ({"test_above": 0.2}, {"labour_cost_per_hour": 90.0})
    )
    assert level.weighed is first.weighed  # a level moves no price
    assert (dearer.costs["replace_now"] > first.costs["replace_now"]).all()
    cheap, dear = (
        advice_if(base, weigh_anew(base, PlanSettings(road_failure_cost=cost)))
        for cost in (0.0, 5_000.0)
    )
    assert dear.expected["doing_nothing"] > cheap.expected["doing_nothing"]
    after_another, alone = (
        orders_if(of, weigh_anew(of, PlanSettings(private_not_known="wait")))
        for of in (base, what_if_base(shop, HERE))
    )
    pd.testing.assert_frame_equal(after_another, alone, rtol=1e-11, atol=0)
    assert not np.allclose(after_another["need"], built["need"])


def test_a_shop_of_which_hardly_anything_is_known(home, tmp_path):
    unread = {name: SHOP[name] for name in ("shops", "units", "parts", "sensors")}
    hand_in(home, tmp_path / "a", unread)
    base = what_if_base(home, HERE)
    found = advice_if(base, weigh_anew(base, base.built_with))
    assert found.sensors["action"].eq("not_enough_known").all()
    assert found.expected["sensor_count"] == 0
    assert len(checks_if(base, weigh_anew(base, PlanSettings()))) == 1
    assert len(stock_view(home, HERE).left_out) == 2


def test_settings_that_cannot_stand_are_refused_by_name():
    with pytest.raises(ValueError, match="review_days: expected a whole number from 1 to 90"):
        standing({"review_days": 0})


def test_the_file_is_laid_out_with_the_first_build_and_taken_up_by_the_next(shop):
    assert "assumed default" in shop.settings.read_text(encoding="utf-8")
    assert keep_settings(shop, {"labour_cost_per_hour": -1}) == {
        "labour_cost_per_hour": "expected a number from 0 to 100000"
    }
    assert not keep_settings(shop, {"labour_cost_per_hour": 90.0, "currency": "crowns"})
    assert what_if_base(shop, HERE).built_with.labour_cost_per_hour == 70.0
    rebuild(shop)
    assert what_if_base(shop, HERE).built_with.labour_cost_per_hour == 90.0
    reasons = " ".join(worklist_found(shop, HERE, WorklistAsked())["reasons"])
    assert "crowns" in reasons


def test_a_mistake_in_the_file_is_a_notice_on_the_worklist(shop):
    shop.settings.write_text("[costs]\ntest_hours = -2\n", encoding="utf-8")
    rebuild(shop)
    notices = worklist_view(shop, HERE).notices
    assert any("settings.toml, line 2: test_hours is -2, expected" in one for one in notices)
    assert read_settings(shop).settings == PlanSettings()
