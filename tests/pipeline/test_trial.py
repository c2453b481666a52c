"""A folder of contract files made outside the project goes in with one command.

The folder lies beside the checkout and is not part of it; without it these tests are skipped.
"""

import csv
from pathlib import Path

import pytest

from pipeline.access.worklist_view import WorklistAsked, worklist_found
from pipeline.environment import CHECKOUT
from pipeline.home import Home
from pipeline.jobs.ingest import ingest
from tests.askers import HERE
from tests.pipeline.shop_files import query

TRIAL = Path(CHECKOUT).parent / "shared" / "trial"
pytestmark = pytest.mark.skipif(not TRIAL.exists(), reason="no trial folder beside the checkout")


@pytest.fixture(scope="module")
def taken(tmp_path_factory):
    home = Home(tmp_path_factory.mktemp("trial")).prepare()
    return home, ingest(home, [TRIAL / "files"])


def _listed(home):
    with home.set_aside.open(newline="") as file:
        return list(csv.DictReader(file))


def test_everything_broken_on_purpose_is_listed_and_nothing_else_is(taken):
    home, _ = taken
    with (TRIAL / "planted.csv").open(newline="") as file:
        planted = list(csv.DictReader(file))
    listed = _listed(home)
    found = {
        (row["table"], row["key"].split("/")[0], row["column"], row["value"]) for row in listed
    }
    by_place = {place[:3] for place in found}
    for row in planted:
        assert (row["table"], row["key"], row["column"]) in by_place
        if row["value"]:
            assert (row["table"], row["key"], row["column"], row["value"]) in found
    places = {(row["table"], row["key"], row["column"]) for row in planted}
    others = [
        row
        for row in listed
        if (row["table"], row["key"].split("/")[0], row["column"]) not in places
    ]
    assert all(row["reason"].startswith("waiting for ") for row in others)


def test_rows_are_conserved(taken):
    home, report = taken
    bad = query(
        home,
        report,
        "select * from intake.accounting where handed_in <> accepted + set_aside "
        "or accepted <> new_rows + replaced + unchanged",
    )
    assert bad == []


def test_bikes_whose_records_wait_are_named_and_never_left(taken):
    home, _ = taken
    rows = worklist_found(home, HERE, WorklistAsked())
    waiting = rows[rows["waiting"].notna()]
    assert {"B00001", "B00002"} <= set(waiting["unit_id"])
    assert "leave" not in set(waiting["action"])
    assert len(rows) == 60
