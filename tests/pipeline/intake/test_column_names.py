"""Their column names: remembered by table, read under ours, the file kept as it came."""

from __future__ import annotations

import json

import pandas as pd
import pytest

from pipeline.commands import main
from pipeline.home import HomeError
from pipeline.intake.column_names import (
    forget_column_names,
    header_names,
    likely_name,
    not_known,
    read_column_names,
    remember_column_names,
    renamed,
)
from pipeline.intake.contract import TABLES
from pipeline.intake.receive import handed_files, receive
from pipeline.jobs.ingest import ingest
from tests.askers import HERE
from tests.pipeline.shop_files import NOW, SHOP, hand_in, query, sweep_csv, write_files

UNITS = TABLES["units"]
ODD = "Bike no;shop_id;model_code;Colour\nB1;s1;alder;red\n"
NAMES = {"Bike no": "unit_id", "Colour": ""}


def test_names_are_remembered_by_table_and_can_be_forgotten(home):
    remember_column_names(home, "units", NAMES)
    remember_column_names(home, "units", {"Plate": "label"})
    assert read_column_names(home, HERE) == {"units": NAMES | {"Plate": "label"}}
    forget_column_names(home, "units", ["Plate", "Colour"])
    assert read_column_names(home, HERE) == {"units": {"Bike no": "unit_id"}}


@pytest.mark.parametrize("names", [{"unit_id": "label"}, {"Plate": "no_such"}, {"": "label"}])
def test_a_name_that_would_hide_one_of_ours_is_refused(home, names):
    with pytest.raises(ValueError, match="column"):
        remember_column_names(home, "units", names)
    assert read_column_names(home, HERE) == {}


def test_a_damaged_file_of_names_is_named(home):
    home.column_names.write_text("{")
    with pytest.raises(HomeError, match=r"column_names\.json is damaged"):
        read_column_names(home, HERE)


def test_a_name_that_the_file_has_itself_is_not_given_twice():
    known = {"Bike": "unit_id", "Number": "label", "Plate": "label"}
    header = ["Bike", "unit_id", "Number", "Plate"]
    assert renamed(known, header, UNITS) == {"Number": "label"}
    assert not_known(known, [*header, "Hue", ""], UNITS) == ["Hue"]


@pytest.mark.parametrize(
    ("theirs", "ours"), [("Unit ID", "unit_id"), ("model-code", "model_code"), ("Plate", None)]
)
def test_a_likely_name_differs_in_its_spelling_only(theirs, ours):
    assert likely_name(theirs, UNITS) == ours


def test_the_file_is_kept_as_it_came_and_read_under_our_names(home, tmp_path):
    remember_column_names(home, "units", NAMES)
    report = hand_in(home, tmp_path / "a", {**SHOP, "units": ODD})
    sql = "select unit_id, model_code from staging.units"
    assert query(home, report, sql) == [("B1", "alder")]
    (file,) = (file for file in handed_files(home) if file.name == "units.csv")
    assert file.path.read_text() == ODD
    assert file.columns == (("Bike no", "unit_id"),)
    assert any("Colour" in notice for notice in report.notices)


def test_what_was_handed_in_keeps_the_names_of_its_day(home, tmp_path):
    remember_column_names(home, "units", NAMES)
    hand_in(home, tmp_path / "a", {**SHOP, "units": ODD})
    forget_column_names(home, "units", NAMES)
    report = hand_in(home, tmp_path / "b", {"shops": SHOP["shops"]})
    assert query(home, report, "select count(*) from staging.units") == [(1,)]


def test_a_wrong_cell_is_named_with_its_line_under_our_name(home, tmp_path):
    remember_column_names(home, "units", NAMES | {"Year": "model_year"})
    odd = "Bike no,shop_id,model_code,Year\n\nB1,s1,alder,soon\nB2,s1\n"
    report = hand_in(home, tmp_path / "a", {**SHOP, "units": odd})
    listed = query(home, report, "select line, row_key, column_name from intake.set_aside "
                   "where table_name = 'units' order by all")  # fmt: skip
    assert listed == [(3, "B1", "model_year"), (4, "B2", None)]


def test_parquet_and_sweeps_are_read_under_our_names_too(home, tmp_path):
    remember_column_names(home, "units", {'Bike "no"': "unit_id"})
    remember_column_names(home, "sweeps", {"volts": "signal"})
    folder = write_files(tmp_path / "a", {n: t for n, t in SHOP.items() if n != "units"})
    write_files(folder, {"sweeps": sweep_csv("T1").replace("signal", "volts")})
    units = pd.DataFrame({'Bike "no"': ["B1"], "shop_id": ["s1"], "model_code": ["alder"]})
    units.to_parquet(folder / "units.parquet")
    report = ingest(home, [folder], now=NOW)
    assert query(home, report, "select unit_id from staging.units") == [("B1",)]
    assert query(home, report, "select count(*) from marts.sweep_measures") == [(1,)]


def test_a_file_of_another_name_is_taken_for_the_table_that_was_chosen(home, tmp_path):
    folder = write_files(tmp_path / "a", {"export 7.csv": SHOP["units"]})
    receive(home, [folder], NOW, tables={"export 7.csv": "units"})
    (file,) = handed_files(home)
    assert file.name == "units-export 7.csv"
    card = json.loads((home.handed_in / "000001" / "hand_in.json").read_text())
    assert card["files"][0]["came_as"] == "export 7.csv"


def test_the_command_goes_by_the_same_names(tmp_path, home, capsys):
    remember_column_names(home, "units", NAMES)
    folder = write_files(tmp_path / "a", {"shops": SHOP["shops"], "units": ODD})
    assert main(["ingest", "--home", str(home.root), str(folder)]) == 0
    line = next(n for n in capsys.readouterr().out.splitlines() if n.split()[:1] == ["units"])
    assert line.split() == ["units", "1", "1", "1", "0", "0", "0", "0"]


def test_a_header_that_cannot_be_read_has_no_names(tmp_path):
    path = tmp_path / "units.parquet"
    path.write_bytes(b"none")
    assert header_names(path) == []
