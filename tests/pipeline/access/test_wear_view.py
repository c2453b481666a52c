import pytest

from models.wear.exposure import BINS
from pipeline.access import wear_view as wear
from pipeline.access.views import NotThereError, bike_view, session_view
from tests.askers import HERE
from tests.pipeline.shop_files import SHOP, hand_in, sweep_csv

SWEPT = SHOP["test_sessions"].replace("5.00,,pass", "5.00,volt,pass")


@pytest.fixture
def shop(home, tmp_path):
    files = {**SHOP, "test_sessions": SWEPT, "sweeps": sweep_csv("T1", "T2", "T3")}
    hand_in(home, tmp_path / "a", files)
    return home


def test_a_home_without_records_says_so(home):
    with pytest.raises(NotThereError, match="No records are published yet"):
        wear.wear_view(home, HERE)


def test_the_view_has_the_map_and_every_mapped_sensor(shop):
    view = wear.wear_view(shop, HERE)
    assert set(view.sensors["life_id"]) == {"S1", "S2"}
    assert view.about["n_tests"] == 3
    assert set(view.cells["part_no"]) == {"all"}
    assert len(view.cells) % BINS == 0
    assert not view.edition.is_demo


def test_a_part_and_a_duty_narrow_map_and_list(shop):
    view = wear.wear_view(shop, HERE, "P1", "tour")
    assert view.sensors["unit_id"].tolist() == ["B2"]
    assert view.cells["n_tests"].max() == 1
    assert wear.wear_view(shop, HERE, "P1", "courier").sensors["unit_id"].tolist() == ["B1"]
    assert wear.wear_view(shop, HERE, "no such part").sensors.empty


def test_one_sensor_has_its_tests_in_time_order(shop):
    one = wear.wear_view(shop, HERE, life_id="S1").one
    assert one.profiles["session_id"].drop_duplicates().tolist() == ["T1", "T2"]
    assert one.profiles["sensor_age_km"].is_monotonic_increasing
    assert len(one.profiles) == 2 * BINS
    assert one.profiles["fleet_sensors"].max() == 0  # fewer than ten sensors make no band


def test_a_life_that_a_cleaning_ended_is_not_told_where_to_sweep_next(shop):
    one = wear.wear_view(shop, HERE, life_id="S1").one
    assert not one.sensor["in_service"]
    assert all(frame.empty for frame in (one.stretches, one.use, one.passes))


def test_a_sensor_in_service_has_its_plan_and_its_duty_s_pattern(shop):
    one = wear.wear_view(shop, HERE, life_id="S2").one
    assert one.stretches["from_own_tests"].all()
    assert not one.passes.empty
    assert one.use["like_duty"].unique().tolist() == ["tour"]
    assert one.use["dwell"].isna().all()
    assert one.use["like_share"].sum() == pytest.approx(1.0)


def test_a_life_that_is_not_mapped_is_named(shop):
    with pytest.raises(NotThereError, match="no sensor <b>'; drop"):
        wear.wear_view(shop, HERE, life_id="<b>'; drop")


def test_without_a_sweep_there_is_a_reason_and_no_map(home, tmp_path):
    hand_in(home, tmp_path / "a", SHOP)
    view = wear.wear_view(home, HERE)
    assert view.about["reason"]
    assert view.one is None
    assert all(frame.empty for frame in (view.cells, view.sensors, view.choices))


def test_a_bike_s_page_has_its_sensors_in_service_alone(shop):
    ended = bike_view(shop, HERE, "B1").wear
    assert ended.sensors.empty  # a cleaning began another life, not swept yet
    assert not ended.stretches["from_own_tests"].any()
    other = bike_view(shop, HERE, "B2").wear
    assert other.sensors["life_id"].tolist() == ["S2"]
    assert set(other.stretches["sensor_id"]) == {"S2"}
    assert not other.passes.empty


def test_a_test_s_page_knows_no_later_test_of_its_life(shop):
    first, second = (session_view(shop, HERE, name).wear for name in ("T1", "T2"))
    assert first.profiles["session_id"].unique().tolist() == ["T1"]
    assert first.bands["session_id"].unique().tolist() == ["T1"]
    assert second.profiles["session_id"].drop_duplicates().tolist() == ["T1", "T2"]
    assert first.stretches.empty  # a cleaning ended this life
    assert first.plan.made > 0
    assert 0 < first.plan.sure < 1


def test_a_test_of_a_life_that_goes_on_says_where_to_sweep_next(shop):
    view = session_view(shop, HERE, "T3").wear
    assert view.life_id == "S2"
    assert set(view.stretches["sensor_id"]) == {"S2"}


def test_a_test_without_a_sweep_has_no_band_of_its_own(home, tmp_path):
    hand_in(home, tmp_path / "a", SHOP)
    view = session_view(home, HERE, "T3").wear
    assert view.life_id == "S2"
    assert view.profiles.empty
    assert view.bands.empty
    assert view.plan is None
