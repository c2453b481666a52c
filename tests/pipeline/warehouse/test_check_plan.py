"""The plan of checks on a tiny hand-in: what it is made from, and what stands in calendars."""

import shutil
from datetime import timedelta

import pytest

from models.check_plan.schemas import CHECK_EVENTS
from models.check_plan.settings import CheckSettings
from models.plans.settings import PlanSettings
from pipeline.statements import connect
from pipeline.warehouse import check_plan
from pipeline.warehouse.publish import newest
from tests.pipeline.stocked_shop import DAY

TABLES = ("visits", "work", "unplaced", "days", "about", "events", "settings")


@pytest.fixture
def connection(stocked_home, tmp_path):
    copy = shutil.copy(newest(stocked_home).path, tmp_path / "copy.duckdb")
    connection = connect(copy)
    yield connection
    connection.close()


def planned_anew(connection, *changes, earlier=None, day=DAY, **settings):
    """Change the staged records and plan again."""
    for change in changes:
        connection.execute(change)
    for name in TABLES:
        connection.execute(f"drop table marts.check_{name}")
    check_plan.plan_checks(connection, day, earlier=earlier, **settings)


def column(connection, name, table="check_visits"):
    return [v for (v,) in connection.execute(f"select {name} from marts.{table}").fetchall()]


@pytest.fixture
def costly(connection):
    """Every sensor's check saves 50 on the first day, a tenth less each day."""
    connection.execute(
        "update marts.check_costs set action = 'test', cost = 100 + day * 0.1, cost_without = 150"
    )
    connection.execute("update marts.planned_work set work = null, owed_for = null")
    return connection


def test_a_build_keeps_a_plan_for_every_shop(connection):
    shops = connection.execute("select shop_id from staging.shops order by all").fetchall()
    assert sorted(column(connection, "shop_id", "check_about")) == [shop for (shop,) in shops]
    planned = set(column(connection, "unit_id"))
    assert planned.isdisjoint(column(connection, "unit_id", "check_unplaced"))
    assert set(column(connection, "uid")) == set(column(connection, "uid", "check_events"))


def test_advised_work_is_owed(connection):
    owed = check_plan.check_records(connection, DAY).owed["sensor_id"].tolist()
    advised = connection.execute(
        "select sensor_id from marts.planned_work where work is not null and work_days = 0"
    ).fetchall()
    assert owed == sorted(s for (s,) in advised)


def test_why_a_check_is_owed_is_kept(connection):
    told = dict(connection.execute("select sensor_id, owed_for from marts.planned_work").fetchall())
    action = dict(connection.execute("select sensor_id, action from marts.advice").fetchall())
    reasons = {"replace": "advised", "test": "advised", "not_enough_known": "not_known"}
    for sensor, why in told.items():
        assert why == reasons.get(action[sensor])
    assert "not_known" in told.values()


def test_what_today_s_stock_plan_orders_is_counted_on_when_it_is_due(connection):
    connection.execute("update marts.stock_orders set order_parts = 0, transfer_in = 0")
    assert check_plan.check_records(connection, DAY).coming.empty
    connection.execute(
        "update marts.stock_orders set order_parts = 3, lead_time_days = 9 where part_no = 'P1'"
    )
    coming = check_plan.check_records(connection, DAY).coming
    assert len(coming) > 0
    assert coming["ordered"].eq(3).all()
    assert (coming["due_on"].dt.date == DAY + timedelta(days=9)).all()


def test_parts_fitted_since_the_count_are_there_no_more(connection):
    def on_hand():
        stock = check_plan.check_records(connection, DAY).stock
        return dict(
            zip(zip(stock["shop_id"], stock["part_no"], strict=True), stock["on_hand"], strict=True)
        )

    before = on_hand()
    shop, part = next(key for key, there in before.items() if there > 0)
    counted = connection.execute(
        "select max(counted_on) from staging.stock where shop_id = ? and part_no = ?", [shop, part]
    ).fetchone()[0]
    connection.execute(
        "update staging.stock set counted_on = counted_on - interval 2000 days "
        "where shop_id = ? and part_no = ?",
        [shop, part],
    )
    fitted = connection.execute(
        "select count(*) from staging.sensors join marts.bikes using (unit_id) where origin = "
        "'fitted_here' and shop_id = ? and part_no = ? and fitted_on <= ? and fitted_on > ?",
        [shop, part, DAY, counted - timedelta(days=2000)],
    ).fetchone()[0]
    assert on_hand()[shop, part] == max(before[shop, part] - fitted, 0)


def test_windows_are_taken_from_the_calendar(costly):
    unit, fleet = costly.execute(
        "select unit_id, fleet_id from marts.bikes where fleet_id is not null and unit_id in "
        "(select unit_id from marts.check_costs) order by unit_id"
    ).fetchone()
    at = DAY + timedelta(days=20)
    at += timedelta(days=(7 - at.weekday()) % 7)
    window = f"insert into staging.calendar values (9001, '{unit}', '{at}', '{at}')"
    planned_anew(costly, window, depot_day_cost=0.0)
    found = dict(costly.execute("select unit_id, on_day from marts.check_visits").fetchall())
    assert found[unit].date() == at
    same_fleet = costly.execute(
        "select unit_id from marts.bikes where fleet_id = ? and unit_id <> ?", [fleet, unit]
    ).fetchall()
    assert not {u for (u,) in same_fleet} & set(found)


def test_only_counts_up_to_the_day_are_taken(connection):
    before = len(check_plan.check_records(connection, DAY).stock)
    later = DAY + timedelta(days=1)
    connection.execute(
        f"insert into staging.stock values (9001, 's1', 'P1', '{later}', 50, 0, null)"
    )
    stock = check_plan.check_records(connection, DAY).stock
    assert len(stock) == before
    assert 50 not in stock["on_hand"].tolist()


def test_settings_reach_the_plan_and_are_kept(costly):
    planned_anew(costly, weeks_ahead=2, currency="crowns")
    assert column(costly, "weeks_ahead", "check_settings") == [2]
    last = costly.execute("select max(on_day) from marts.check_days").fetchone()[0].date()
    assert last <= DAY + timedelta(days=14)
    assert all("crowns" in why for why in column(costly, "why"))


def test_the_owner_s_settings_are_those_of_the_plan():
    owner = PlanSettings(depot_day_cost=7.0, weeks_ahead=3, currency="crowns")
    chosen = CheckSettings(**check_plan.settings_for_checks(owner))
    assert (chosen.depot_day_cost, chosen.weeks_ahead, chosen.currency) == (7.0, 3, "crowns")
    assert chosen.test_hours == owner.test_hours


def test_a_plan_goes_on_from_the_one_published_before(costly):
    planned_anew(costly, depot_day_cost=0.0)
    first = CHECK_EVENTS.check(costly.execute("from marts.check_events").df())
    assert len(first) > 0
    nothing_pays = "update marts.check_costs set cost = 200"
    planned_anew(costly, nothing_pays, earlier=first)
    assert all(column(costly, "cancelled", "check_events"))
    assert column(costly, "uid", "check_events") == first["uid"].tolist()
