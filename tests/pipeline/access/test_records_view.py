"""Records by month and by hand-in add up to what is on record."""

from pipeline.access.records_view import bike_count, records_view
from pipeline.access.settings_view import settings_view
from pipeline.home import Home
from pipeline.intake.settings.settings_edit import keep_settings
from pipeline.jobs.start_own import start_own
from tests.askers import HERE


def test_months_follow_one_another_and_add_up(faulty_home):
    by_month = records_view(faulty_home, HERE).by_month
    assert by_month.groupby("kind")["record_count"].sum().to_dict() == {
        "odometer": 2, "repairs": 1, "tests": 3,
    }  # fmt: skip
    months = by_month["month"].drop_duplicates()
    assert (months.min(), months.max()) == (by_month["month"].min(), by_month["month"].max())
    assert len(months) == 31  # January 2023 to July 2025
    assert len(by_month) == 3 * len(months)


def test_each_hand_in_is_accounted_for_by_table(faulty_home):
    found = records_view(faulty_home, HERE).by_hand_in
    assert (found["handed_in"] == found["accepted"] + found["set_aside"]).all()
    units = found.set_index("table_name").loc["units"]
    assert (units["file_count"], units["handed_in"], units["accepted"]) == (2, 3, 3)
    assert found.set_index("table_name").loc["none", "whole_files"] == 1
    assert found["handed_in_at"].notna().all()
    assert bike_count(faulty_home, HERE) == 3


def test_an_empty_home_has_none(tmp_path):
    home = Home(tmp_path / "own")
    manifest = start_own(home)
    assert (manifest.kind, manifest.hand_in) == ("own", 0)
    assert start_own(home).version == manifest.version
    view = records_view(home, HERE)
    assert view.by_month.empty
    assert view.by_hand_in.empty
    assert bike_count(home, HERE) == 0
    assert settings_view(home, HERE).not_built == ()
    keep_settings(home, {"test_hours": 0.9, "distances": "miles"})
    view = settings_view(home, HERE)
    assert view.not_built == ("test_hours",)  # how values are shown needs no build
    assert view.values["distances"] == "miles"
