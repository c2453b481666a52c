"""Files are looked through before they are handed in, and nothing is kept of it."""

import pytest

from pipeline.home import Home
from pipeline.intake.check_files import ISSUES_SHOWN, check_files
from pipeline.intake.column_names import remember_column_names
from tests.askers import HERE
from tests.pipeline.intake.test_workbook import workbook
from tests.pipeline.shop_files import NOW, sweep_csv, write_files

BIKES = [["unit_id", "shop_id", "model_code"], ["B1", "s1", "alder"]]


@pytest.fixture
def home(tmp_path):
    """A home that nobody has started."""
    return Home(tmp_path / "home")


def checked(home, tmp_path, files, **how):
    folder = write_files(tmp_path / "a", files)
    found = check_files(home, sorted(folder.iterdir()), asker=HERE, now=NOW, **how)
    assert not home.handed_in.exists()
    return found


def test_rows_are_counted_and_what_is_wrong_is_listed_with_its_line(home, tmp_path):
    text = "unit_id,read_on,odometer_km\nB1,2026-01-05,100\nB2,5.1.2026,12\nB3,2026-01-05,-4\n"
    (file,) = checked(home, tmp_path, {"odometer": text}).files
    assert (file.table, file.rows, file.broken, file.is_readable) == ("odometer", 3, 2, True)
    listed = file.issues[["line", "column", "value", "effect"]].to_numpy().tolist()
    assert listed == [[3, "read_on", "5.1.2026", "row"], [4, "odometer_km", "-4", "row"]]


def test_columns_that_are_not_known_are_asked_about_until_they_are_named(home, tmp_path):
    files = {"units": "Bike,shop_id,model_code,Hue\nB1,s1,alder,red\n"}
    (file,) = checked(home, tmp_path, files).files
    assert file.asked == ("Bike", "Hue")
    assert {"unit_id", "label"} <= set(file.lacking)
    assert file.broken == 1
    home.root.mkdir()
    remember_column_names(home, "units", {"Bike": "unit_id", "Hue": ""})
    (file,) = checked(home, tmp_path, files).files
    assert (file.asked, file.columns, file.broken) == ((), (("Bike", "unit_id"),), 0)


def test_foreign_and_damaged_files_are_said_and_hinder_no_other(home, tmp_path):
    files = {
        "photo.jpg": b"\xff\xd8",
        "stock.csv": b"",
        "units.pdf": b"%PDF",
        "parts.xlsx": b"PK none",
        "shops": "shop_id,name\ns1,Weir Lane\n",
    }
    found = checked(home, tmp_path, files)
    assert [file.came_as for file in found.ready] == ["shops.csv"]
    reasons = {f.came_as: f.issues["reason"].iloc[0] for f in found.files if not f.is_readable}
    assert "begins with no table's name" in reasons["photo.jpg"]
    assert "empty" in reasons["stock.csv"]
    assert "'.pdf'; expected .csv" in reasons["units.pdf"]
    assert "the workbook cannot be read" in reasons["parts.xlsx"]


def test_a_file_or_sheet_of_another_name_can_be_said_to_hold_a_table(home, tmp_path):
    path = workbook(tmp_path / "book.xlsx", shops=[["shop_id", "name"]], Bikes=BIKES)
    found = check_files(home, [path], asker=HERE, now=NOW)
    assert found.unnamed == ("Bikes of book.xlsx",)
    found = check_files(home, [path], asker=HERE, tables={"Bikes of book.xlsx": "units"}, now=NOW)
    assert found.unnamed == ()
    assert [(f.table, f.rows, f.broken) for f in found.files] == [("shops", 0, 0), ("units", 1, 0)]


def test_samples_are_looked_through_too(home, tmp_path):
    files = {"sweeps": sweep_csv("T1"), "sweeps-2": "session_id,t_s,signal\n,0.1,2\n"}
    whole, broken = checked(home, tmp_path, files).files
    assert (whole.rows, whole.broken) == (1600, 0)
    assert broken.broken == 1


def test_no_more_is_listed_than_can_be_shown(home, tmp_path):
    lines = "".join(f"B{n},soon,1\n" for n in range(ISSUES_SHOWN + 5))
    (file,) = checked(home, tmp_path, {"odometer": "unit_id,read_on,odometer_km\n" + lines}).files
    assert (len(file.issues), file.issue_count) == (ISSUES_SHOWN, ISSUES_SHOWN + 5)
