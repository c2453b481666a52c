"""What was advised is kept, and held against what came of it."""

from datetime import date

import pytest

from pipeline.access.views import trust_view
from pipeline.intake.receive import receive
from pipeline.statements import connect
from pipeline.warehouse.build import build
from pipeline.warehouse.publish import newest
from tests.askers import HERE
from tests.pipeline.shop_files import SHOP, hand_in, write_files

EARLIER, LATER = date(2025, 7, 10), date(2026, 1, 10)
#: S2 is left alone on 2025-07-10 and lets its rider down; S1 is taken off and found sound.
SINCE = (
    "outcome_id,sensor_id,session_id,closed_on,odometer_km,action,fault_confirmed,confirmed_by,"
    "on_road\n"
    "R8,S2,,2025-09-01,22000,sensor_replaced,yes,opened,yes\n"
    "R9,S1,,2025-08-01,27000,sensor_replaced,no,bench_retest,no\n"
)


def built(home, day):
    with home.one_builder():
        return build(home, as_of=day)


def rows(home, query):
    connection = connect(newest(home).path, read_only=True)
    try:
        return connection.execute(query).df()
    finally:
        connection.close()


@pytest.fixture
def shop(home, tmp_path):
    hand_in(home, tmp_path / "a", SHOP)
    for kept in home.advised.glob("*"):
        kept.unlink()  # advice of the day the test is run on
    for card in home.published.glob("*.json"):
        card.unlink()
    built(home, EARLIER)
    return home


@pytest.mark.long
def test_each_version_s_advice_is_kept_apart_from_the_warehouses(shop):
    version = newest(shop).version
    assert [path.name for path in shop.advised.iterdir()] == [f"{version:06d}.parquet"]
    built(shop, EARLIER)
    assert len(list(shop.advised.glob("*.parquet"))) == 2


@pytest.mark.long
def test_advice_of_a_build_that_was_killed_before_keeping_it_is_kept_by_the_next(shop):
    (only,) = shop.advised.iterdir()
    only.unlink()
    built(shop, LATER)
    assert only.exists()


@pytest.mark.long
def test_the_same_advice_on_following_days_is_one_run(shop):
    built(shop, date(2025, 7, 11))
    built(shop, date(2025, 7, 12))
    spells = rows(shop, "from marts.advised_spells order by sensor_id")
    assert len(spells) == 2
    assert spells["first_on"].dt.date.eq(EARLIER).all()
    assert spells["last_on"].dt.date.eq(date(2025, 7, 11)).all()  # the last before this build


@pytest.mark.long
def test_what_came_of_it_is_counted(shop, tmp_path):
    advised = rows(shop, "select sensor_id, action from marts.worklist").set_index("sensor_id")
    with shop.one_builder():
        receive(shop, [write_files(tmp_path / "b", {"repair_outcomes-2": SINCE})])
        build(shop, as_of=LATER)
    spells = rows(shop, "from marts.advised_spells").set_index("sensor_id")
    assert spells.loc["S1", "fault_confirmed"] == "no"
    assert spells.loc["S1", "taken_off_on"].date() == date(2025, 8, 1)
    assert spells["road_failures"].to_dict() == {"S1": 0, "S2": 1}
    followed = trust_view(shop, HERE).followed.set_index("action")
    assert followed["sensor_count"].sum() == 2
    assert followed.loc[advised.loc["S2", "action"], "road_failure_count"] == 1
    assert followed.loc[advised.loc["S1", "action"], "sound_count"] == 1


def test_before_any_advice_is_kept_nothing_is_counted(home, tmp_path):
    hand_in(home, tmp_path / "a", SHOP)
    assert trust_view(home, HERE).followed.empty
