"""What the page of the fleet reads from a published shop, and what was typed since."""

from __future__ import annotations

import shutil
from datetime import UTC, date, datetime

import pandas as pd
import pytest

from pipeline.access.entered.standing import standing_rows
from pipeline.access.fleet_view import fleet_view, window_key
from pipeline.access.views import NotThereError
from pipeline.access.worklist_view import WorklistAsked, worklist_found
from pipeline.home import Home
from pipeline.intake.receive import last_hand_in
from pipeline.intake.typed.entries import EntryError
from pipeline.intake.typed.fleet_entries import (
    bring_back,
    save_windows,
    take_back_windows,
    take_out_of_service,
)
from pipeline.statements import connect
from pipeline.warehouse.build import build
from pipeline.warehouse.publish import newest
from tests.askers import HERE
from tests.pipeline.shop_files import hand_in
from tests.pipeline.stocked_shop import DAY, FILES

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
#: B3 has two sensors, B4 no odometer, B5 no sensor, B6 left long ago.
FLEET = FILES | {
    "units": FILES["units"] + "B5,s1,f1,,alder,tour,2024-01-01\n",
    "sensors": FILES["sensors"] + "S6,B3,grip_a,P1,unknown,,\n",
    "odometer": FILES["odometer"] + "B3,2026-05-20,15000\nB5,2026-05-20,4000\n",
    "calendar": (
        "unit_id,free_from,free_to\nB1,2026-06-02,2026-06-03\nB1,2026-05-02,2026-05-03\n"
        "B4,2026-05-30,2026-06-01\n"
    ),
}
GONE = (
    "unit_id,shop_id,fleet_id,model_code,in_service_on,out_of_service_on\n"
    "B6,s1,f1,alder,2020-01-01,2025-01-01\n"
)


@pytest.fixture(scope="module")
def fleet_home(tmp_path_factory):
    folder = tmp_path_factory.mktemp("fleet")
    home = Home(folder / "home").prepare(as_of=DAY)
    hand_in(home, folder / "a", FLEET | {"units-2": GONE})
    return home


@pytest.fixture
def home_copy(fleet_home, tmp_path):
    shutil.copytree(fleet_home.root, tmp_path / "copy")
    return Home(tmp_path / "copy")


def bike(home: Home, unit_id: str) -> pd.Series:
    return fleet_view(home, HERE).bikes.set_index("unit_id").loc[unit_id]


def states(home: Home) -> dict[str, str]:
    rows = fleet_view(home, HERE).windows.to_dict("records")
    return {window_key(row): row["state"] for row in rows}


def test_a_home_without_records_says_so(home):
    with pytest.raises(NotThereError):
        fleet_view(home, HERE)


def test_every_bike_is_there_with_what_is_known_of_it_and_what_is_not(fleet_home):
    bikes = fleet_view(fleet_home, HERE).bikes.set_index("unit_id")
    assert list(bikes.index) == ["B2", "B3", "B4", "B5", "B6", "B1"]  # by label: F-01 is B1
    assert bikes["out_of_service"].tolist() == [False] * 4 + [True, False]
    assert bikes.loc["B5", "sensor_count"] == 0
    assert bikes.loc["B3", ["sensor_count", "untested_count"]].tolist() == [2, 2]
    assert bikes.loc["B1", "days_since_reading"] == (DAY - date(2025, 6, 1)).days
    # B1's sensor was repaired after its last test, B2's never
    assert bikes.loc["B1", "untested_count"] == 1
    assert bikes.loc["B2", "last_tested_on"] == pd.Timestamp("2024-03-01")
    assert pd.isna(bikes.loc["B5", "road"])


def test_weeks_cover_bikes_in_service_and_lie_between_the_chances_of_30_and_90_days(fleet_home):
    view = fleet_view(fleet_home, HERE)
    assert set(view.weeks["unit_id"]) == {"B1", "B2", "B3", "B4", "B5"}
    by_then = view.weeks.set_index(["unit_id", "week"])["road_by_then"]
    connection = connect(newest(fleet_home).path, read_only=True)
    ahead = connection.execute(
        "select horizon, road from marts.risk_ahead where sensor_id = 'S1' "
        "and horizon_kind = 'days' and horizon <= 90 order by horizon"
    ).fetchall()
    connection.close()
    (_, within_30), (_, within_90) = ahead
    # another rule over km and another grid: near, not the same
    assert by_then["B1", 4] < within_30 * 1.05
    assert within_30 < by_then["B1", 6] < within_90
    assert by_then["B5"].isna().all()


def test_a_bike_of_one_sensor_has_that_sensors_chance_within_90_days(fleet_home):
    row = worklist_found(fleet_home, HERE, WorklistAsked()).set_index("sensor_id").loc["S1"]
    found = bike(fleet_home, "B1")
    for name in ("road", "road_low", "road_high"):
        end = name.removeprefix("road")
        assert found[name] == pytest.approx(row[f"road_90_days{end}"], abs=1e-12)


def test_windows_that_have_passed_are_left_out(fleet_home):
    assert states(fleet_home) == {
        "B4/2026-05-30/2026-06-01": "planned",
        "B1/2026-06-02/2026-06-03": "planned",
    }


def test_typed_windows_show_at_once_and_the_plan_takes_them_up(home_copy):
    save_windows(home_copy, ["B1", "B3"], date(2026, 6, 8), date(2026, 6, 9), now=NOW)
    assert states(home_copy)["B3/2026-06-08/2026-06-09"] == "typed"
    take_back_windows(home_copy, ["B1/2026-06-02/2026-06-03"], "on tour", now=NOW)
    take_back_windows(home_copy, ["B1/2026-06-08/2026-06-09"], "a slip", now=NOW)
    found = states(home_copy)
    assert found["B1/2026-06-02/2026-06-03"] == "taken_back"
    assert "B1/2026-06-08/2026-06-09" not in found
    save_windows(home_copy, ["B1"], date(2026, 6, 2), date(2026, 6, 3), now=NOW)
    assert states(home_copy)["B1/2026-06-02/2026-06-03"] == "planned"
    take_back_windows(home_copy, ["B1/2026-06-02/2026-06-03"], "on tour again", now=NOW)
    with home_copy.one_builder():
        build(home_copy)
    assert states(home_copy) == {
        "B4/2026-05-30/2026-06-01": "planned",
        "B3/2026-06-08/2026-06-09": "planned",
    }


def test_a_bike_out_of_service_keeps_its_other_cells_and_leaves_the_lists(home_copy):
    unit = standing_rows(home_copy, HERE, "units", ["B1"])["B1"]
    take_out_of_service(home_copy, unit, date(2026, 5, 31), now=NOW)
    assert bike(home_copy, "B1")["typed_out_on"] == pd.Timestamp("2026-05-31")
    assert not bike(home_copy, "B1")["out_of_service"]
    gone = standing_rows(home_copy, HERE, "units", ["B6"])["B6"]
    bring_back(home_copy, gone, now=NOW)
    assert bike(home_copy, "B6")["typed_back"]
    with home_copy.one_builder():
        build(home_copy)
    found = bike(home_copy, "B1")
    assert found["out_of_service"]
    assert pd.isna(found["typed_out_on"])
    assert (found["label"], found["fleet_id"], found["duty"]) == ("F-01", "f1", "courier")
    assert "B1" not in set(worklist_found(home_copy, HERE, WorklistAsked())["unit_id"])
    assert not bike(home_copy, "B6")["out_of_service"]
    assert not bike(home_copy, "B6")["typed_back"]


def test_typed_twice_the_last_stands(home_copy):
    unit = standing_rows(home_copy, HERE, "units", ["B1"])["B1"]
    take_out_of_service(home_copy, unit, date(2026, 5, 31), now=NOW)
    bring_back(home_copy, standing_rows(home_copy, HERE, "units", ["B1"])["B1"], now=NOW)
    assert pd.isna(bike(home_copy, "B1")["typed_out_on"])
    assert not bike(home_copy, "B1")["typed_back"]


UNIT = {"unit_id": "B1", "shop_id": "s1", "model_code": "alder", "in_service_on": "2022-01-10"}


@pytest.mark.parametrize(
    ("save", "values", "columns"),
    [
        (save_windows, ([], DAY, DAY), ["unit_id"]),
        (save_windows, (["B1"], None, None), ["free_from", "free_to"]),
        (save_windows, (["B1"], DAY, date(2026, 5, 1)), ["free_to"]),
        (take_back_windows, ([], " "), ["key", "reason"]),
        (take_out_of_service, (None, DAY), ["unit_id"]),
        (take_out_of_service, (UNIT, None), ["out_of_service_on"]),
        (take_out_of_service, (UNIT, date(2021, 1, 1)), ["out_of_service_on"]),
        (take_out_of_service, (UNIT, date(2026, 6, 9)), ["out_of_service_on"]),
        (bring_back, (None,), ["unit_id"]),
    ],
)
def test_what_cannot_stand_is_named_and_nothing_is_saved(home, save, values, columns):
    with pytest.raises(EntryError) as refused:
        save(home, *values, now=NOW)
    assert [trouble.column for trouble in refused.value.troubles] == columns
    assert last_hand_in(home) == 0
