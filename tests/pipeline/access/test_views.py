import dataclasses

import pytest

from pipeline.access.frames import view_schemas as schemas
from pipeline.access.views import (
    NotThereError,
    bike_view,
    current_version,
    session_view,
    trust_view,
)
from pipeline.access.worklist_view import (
    WorklistAsked,
    worklist_found,
    worklist_leaf,
    worklist_view,
)
from pipeline.jobs.ingest import ensure_current
from tests.askers import HERE
from tests.pipeline.shop_files import SHOP, hand_in, sweep_csv


@pytest.fixture
def shop(home, tmp_path):
    hand_in(home, tmp_path / "a", {**SHOP, "sweeps": sweep_csv("T1")})
    return home


def test_a_home_without_records_says_so(home):
    assert current_version(home) is None
    with pytest.raises(NotThereError, match="No records are published yet"):
        worklist_view(home, HERE)


def test_the_worklist_lists_every_sensor_in_service(shop):
    view = worklist_view(shop, HERE)
    leaf = worklist_leaf(shop, HERE, WorklistAsked(), 1)
    assert list(leaf.rows.columns) == schemas.WORKLIST.names
    assert set(leaf.rows["sensor_id"]) == {"S1", "S2"}
    assert (leaf.number, leaf.found) == (1, 2)
    assert worklist_found(shop, HERE, WorklistAsked()).equals(leaf.rows)
    assert view.summary["sensors"] == 2
    assert not view.edition.is_demo


def test_a_bike_s_page_has_its_history(shop):
    view = bike_view(shop, HERE, "B1")
    assert view.bike["label"] == "F-01"
    assert view.tests["session_id"].tolist() == ["T1", "T2"]
    assert view.repairs["event"].tolist() == ["road_failure"]
    assert view.odometer["odometer_km"].is_monotonic_increasing
    assert set(view.readings["reading"]) == {"supply_v"} or view.readings.empty


def test_a_bike_s_page_looks_ahead_by_km_and_by_date(shop):
    view = bike_view(shop, HERE, "B1")
    ahead = view.ahead[view.ahead["sensor_id"].eq("S1")]
    assert ahead[["horizon_kind", "horizon"]].values.tolist() == [
        *[["km", km] for km in (1_000, 5_000, 10_000)],
        *[["days", days] for days in (30, 90, 180)],
    ]
    assert (ahead["road"] <= ahead["defect"]).all()
    assert view.bike["odometer_stale"]  # last read in 2025
    assert view.bike["km_since_reading_low"] < view.bike["km_since_reading_high"]


def test_how_far_to_trust_it_says_why_nothing_was_looked_back_on(shop):
    view = trust_view(shop, HERE)
    assert view.about["dates"] == 0
    assert view.about["reason"].startswith("1 confirmed defect is on record.")
    assert view.skill.empty
    assert view.calibration.empty
    assert set(view.curve["part_no"]) == {"all", "P1"}
    assert set(view.silence["way"]) == {
        "as_taken",
        "silence_tells_nothing",
        "all_in_view_to_this_day",
    }
    assert view.silence["sensor_count"].tolist() == [2, 2, 2]


def test_a_test_s_page_has_its_sweep_and_what_to_do_next(shop):
    view = session_view(shop, HERE, "T1")
    assert view.measures["session_id"] == "T1"
    assert view.measures["dropout_count"] == 0
    assert len(view.trace) == 1600
    assert view.earlier["session_id"].tolist() == ["T2"]
    assert view.checks["check"].iloc[0] == "supply"
    assert view.next_look


def test_a_test_without_a_sweep_has_no_measures(shop):
    view = session_view(shop, HERE, "T3")
    assert view.measures is None
    assert all(frame.empty for frame in (view.trace, view.dropouts, view.profile, view.passes))


@pytest.mark.parametrize("view", [bike_view, session_view])
def test_what_is_not_there_is_named(shop, view):
    with pytest.raises(NotThereError, match=r"no (bike|test) <b>'; drop"):
        view(shop, HERE, "<b>'; drop")


def test_a_new_version_is_seen_at_once(shop, tmp_path):
    before = current_version(shop)
    hand_in(
        shop, tmp_path / "b", {"odometer-2": "unit_id,read_on,odometer_km\nB1,2026-05-01,31000\n"}
    )
    assert current_version(shop) == before + 1
    assert bike_view(shop, HERE, "B1").bike["odometer_read_km"] == 31_000


def test_views_are_frozen(shop):
    with pytest.raises(dataclasses.FrozenInstanceError):
        worklist_view(shop, HERE).choices = None


def test_records_of_another_shape_are_refused_with_what_to_do(shop, monkeypatch):
    monkeypatch.setattr("pipeline.warehouse.publish.current_shape", lambda: "another")
    with pytest.raises(NotThereError, match="another version of Wear Atlas"):
        worklist_view(shop, HERE)


def test_records_of_another_shape_are_rebuilt(shop, monkeypatch):
    ensure_current(shop)
    assert current_version(shop) == 1
    monkeypatch.setattr("pipeline.warehouse.publish.current_shape", lambda: "another")
    ensure_current(shop)
    assert current_version(shop) == 2
    assert worklist_view(shop, HERE).edition.version == 2
