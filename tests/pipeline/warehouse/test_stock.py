"""The stock plan's marts on a tiny hand-in: what is counted, ordered and named as missing.

The shop is built once; a test that needs other records changes the staged ones and plans anew.
"""

import json
import shutil
from datetime import date

import pandas as pd
import pytest

from models.plans.schemas import NEED_BY_DRAW
from pipeline.statements import connect
from pipeline.warehouse.publish import newest
from pipeline.warehouse.stock import plan_stock, read_stock_records
from tests.pipeline.stocked_shop import DAY


@pytest.fixture
def connection(stocked_home, tmp_path):
    copy = shutil.copy(newest(stocked_home).path, tmp_path / "copy.duckdb")
    connection = connect(copy)
    yield connection
    connection.close()


def planned_anew(connection, *changes, **settings):
    """Change the staged records and plan again."""
    for change in changes:
        connection.execute(change)
    for (name,) in connection.execute(
        "select table_name from duckdb_tables() where table_name like 'stock\\_%' escape '\\' "
        "and schema_name = 'marts'"
    ).fetchall():
        connection.execute(f"drop table marts.{name}")
    plan_stock(connection, DAY, **settings)


def rows(connection, columns, table="stock_orders"):
    return connection.execute(f"select {columns} from marts.{table} order by all").fetchall()


def test_a_build_keeps_the_plan_of_every_shop_and_part(connection):
    names = (
        "shop_id, part_no, n_sensors + n_left_out, on_hand, due, lead_time_days, pack_size, "
        "unit_price, count_state"
    )
    assert rows(connection, names) == [("s1", "P1", 4, 1, 2, 14, 2, 80.0, "counted")]
    weeks = rows(connection, "count(*), count(distinct week), min(arrives)", "stock_weeks")
    assert weeks == [(12, 12, 0)]
    ((total,),) = rows(connection, "sum(chance)", "stock_demand")
    assert total == pytest.approx(1.0, abs=1e-3)
    ((about,),) = rows(connection, "about", "stock_about")
    assert json.loads(about)["settings"]["review_days"] == 7


def test_the_latest_count_up_to_the_day_counts(connection):
    assert rows(connection, "counted_on::date, counted") == [(date(2026, 5, 11), 1)]


def test_parts_fitted_since_the_count_are_gone(connection):
    planned_anew(
        connection,
        "update staging.stock set on_hand = 3 where counted_on = '2026-05-11'",
        "update staging.sensors set fitted_on = '2026-05-20' where sensor_id = 'S5'",
    )
    assert rows(connection, "counted, used_since, on_hand") == [(3, 1, 2)]
    planned_anew(
        connection, "update staging.sensors set fitted_on = '2026-05-11' where sensor_id = 'S5'"
    )
    assert rows(connection, "used_since") == [(0,)]  # a count holds at the end of its day


def test_a_count_of_half_a_year_ago_is_stale(connection):
    planned_anew(connection, "delete from staging.stock where counted_on > '2026-02-01'")
    assert rows(connection, "count_state, on_hand") == [("stale", 9)]


def test_what_is_missing_is_assumed_and_marked(connection):
    planned_anew(
        connection,
        "delete from staging.stock",
        "update staging.parts set unit_price = null, lead_time_days = null",
    )
    names = "count_state, on_hand, lead_time_assumed, price_assumed, unit_price, lead_time_days"
    assert rows(connection, names) == [("never", 0, True, True, 120.0, 21)]


def test_an_ended_number_is_planned_as_the_one_in_its_place(connection):
    planned_anew(
        connection,
        "update staging.parts set replaced_by = 'P2', supply_ends_on = '2025-01-01' "
        "where part_no = 'P1'",
    )
    names = "part_no, used_for, on_hand, old_on_hand, n_sensors + n_left_out, lead_time_days"
    assert rows(connection, names) == [("P2", "P1", 0, 1, 4, 21)]
    assert rows(connection, "*", "stock_last_buys") == []


def test_a_part_going_out_of_supply_gets_a_last_order(connection):
    planned_anew(
        connection, "update staging.parts set supply_ends_on = '2026-12-31' where part_no = 'P1'"
    )
    ((state, buy, there),) = rows(connection, "state, buy_parts, in_stock", "stock_last_buys")
    assert (state, there, buy % 2) == ("open", 3, 0)


def test_first_visits_of_private_bikes_teach_the_walk_in_rate(connection):
    # the fleet's bike is known before it comes; those there from the start were no visits
    names = "part_no, days, n_visits, n_asked"
    assert rows(connection, names, "stock_walk_ins") == [("P1", 1096, 1, 1), ("P2", 1096, 0, 0)]


def test_a_replacement_soon_after_fitting_is_a_repeat(connection):
    before = read_stock_records(connection, DAY).repeat_rate
    connection.execute(
        "insert into staging.repair_outcomes (outcome_id, sensor_id, closed_on, action) "
        "values ('R9', 'S5', '2025-06-01', 'sensor_replaced')"
    )
    assert read_stock_records(connection, DAY).repeat_rate > 1.5 * before


def test_a_sensor_without_a_chance_is_named(connection):
    need = connection.execute("from marts.part_need").df()
    need["need"] = need["need"].mask(need["sensor_id"].eq("S2"))
    connection.execute("drop table marts.part_need")
    connection.register("given", NEED_BY_DRAW.check(need))
    planned_anew(connection, "create table marts.part_need as from given")
    assert "S2" in {name for (name,) in rows(connection, "sensor_id", "stock_left_out")}
    ((left, used),) = rows(connection, "n_left_out, n_sensors")
    assert left + used == 4
    assert left >= 1


def test_shops_pass_parts_on_only_where_their_owners_agree(connection):
    second = (
        "insert into staging.shops (shop_id, name) values ('s2', 'Mill Lane')",
        "insert into staging.stock (shop_id, part_no, counted_on, on_hand, on_order) "
        "values ('s2', 'P1', '2026-05-20', 9, 0)",
        "delete from staging.stock where shop_id = 's1'",
        "update marts.part_need set need = 0.99 where sensor_id in ('S1', 'S2')",
    )
    planned_anew(connection, *second)
    assert rows(connection, "*", "stock_transfers") == []
    agreed = pd.DataFrame({"from_shop": ["s2"], "to_shop": ["s1"]})
    planned_anew(connection, transfers_allowed=agreed)
    ((giver, taker, moved),) = rows(connection, "from_shop, to_shop, parts", "stock_transfers")
    assert (giver, taker) == ("s2", "s1")
    assert moved >= 2


def test_a_setting_that_makes_no_sense_is_named(connection):
    with pytest.raises(ValueError, match="target_filled_share: 2"):
        plan_stock(connection, DAY, target_filled_share=2)
