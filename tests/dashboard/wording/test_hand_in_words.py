"""What is said of files, and the chart of records by month."""

import pandas as pd
import pytest

from dashboard.charts.records import records_chart
from dashboard.wording.hand_in_words import (
    TABLE_NAMES,
    became_words,
    column_words,
    month_reading,
    stands_for,
    table_words,
)
from pipeline.access.hand_ins import BecameOf
from pipeline.intake.contract import TABLES


def test_every_table_of_the_contract_has_words():
    assert set(TABLE_NAMES) == set(TABLES)
    assert table_words("none") == table_words(float("nan")) == "no table"


@pytest.mark.parametrize("name", TABLES)
def test_every_column_of_a_table_is_listed_once(name):
    said = column_words(TABLES[name]).removeprefix("must have ").replace("; may have ", ", ")
    assert sorted(said.split(", ")) == sorted(TABLES[name].names)


def test_a_column_is_offered_with_its_unit_and_whether_it_must_be_there():
    assert stands_for("odometer", "odometer_km") == "odometer_km, km (must be there)"
    assert stands_for("units", "label") == "label"
    assert stands_for("units", "") == "leave this column out"


def test_what_became_of_a_hand_in_is_said_to_the_row():
    tables = pd.DataFrame(
        {"handed_in": [5, 4], "accepted": [4, 1], "set_aside": [1, 3], "waiting": [0, 2]}
    )
    files = pd.DataFrame({"file_name": ["photo.csv"], "reason": ["no table"]})
    assert became_words(BecameOf(tables, files, [], 1)) == [
        "9 rows handed in: 5 accepted, 4 set aside.",
        "2 of those set aside wait for a record they name, and come in by themselves once it is "
        "there.",
        "1 of those set aside are settled by a later row already.",
        "photo.csv was set aside whole: no table.",
    ]


def _months(*counts: int) -> pd.DataFrame:
    months = pd.date_range("2026-01-01", periods=len(counts), freq="MS")
    return pd.DataFrame({"month": months, "kind": "tests", "record_count": counts})


def test_the_reading_names_the_fullest_month_and_those_without():
    assert month_reading(_months(3, 0, 7), "tests", "bench tests") == (
        "10 bench tests on record, most in 2026-03 (7); 1 month without any."
    )
    assert month_reading(_months(1), "tests", "bench tests").startswith("1 bench test on record")
    assert month_reading(_months(1), "repairs", "closed repairs") == "No closed repairs on record."


def test_a_bar_stands_on_its_month_as_high_as_its_records():
    spec = records_chart(_months(3, 0, 7), "tests", "bench tests").to_dict()
    (rows,) = spec["datasets"].values()
    assert [row["record_count"] for row in rows] == [3, 0, 7]
    assert rows[0]["until"].startswith("2026-02-01")
    (bars,) = spec["layer"]
    assert bars["mark"]["type"] == "rect"
    assert bars["encoding"]["y2"] == {"datum": 0}
    assert "10 records" in str(spec["title"])


@pytest.mark.parametrize(
    ("months", "step"), [(1, 1), (6, 1), (7, 2), (40, 12), (70, 12), (400, 60)]
)
def test_about_six_months_are_named(months, step):
    spec = records_chart(_months(*range(months)), "tests", "bench tests").to_dict()
    axis = spec["layer"][0]["encoding"]["x"]["axis"]
    assert axis["tickCount"] == {"interval": "month", "step": step}
    assert months / step < 7
