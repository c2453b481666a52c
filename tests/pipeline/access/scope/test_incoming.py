"""What somebody hands in or types reaches no record of another's."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import settings as tried
from hypothesis import strategies as st

from pipeline.access.entered.pending import in_order, pending_files, pending_rows
from pipeline.access.reading import reading
from pipeline.access.scope.allowed import NotAllowedError
from pipeline.access.scope.reach import Reach, Row, parents_first
from pipeline.asker import OPERATOR, OWNER, TECHNICIAN, Asker
from pipeline.home import Home
from pipeline.intake.column_names import read_column_names, remember_column_names
from pipeline.intake.contract import TABLES
from pipeline.intake.hand_in_cards import last_hand_in
from pipeline.intake.receive import receive
from pipeline.intake.settings.settings_edit import keep_settings
from pipeline.intake.typed.advice_answers import Answer, save_answers
from pipeline.intake.typed.drafts import (
    draft,
    drafts,
    drop_draft,
    keep_draft,
    keep_sweep,
    kept_sweep,
)
from pipeline.intake.typed.entries import EntryError, save_entry
from pipeline.intake.typed.fleet_entries import save_windows, take_back_windows, take_out_of_service
from tests.askers import HERE
from tests.pipeline.access.test_scope import two_owners  # noqa: F401 - a fixture
from tests.pipeline.shop_files import sweep_csv, write_files

NOW = datetime(2026, 6, 2, 9, tzinfo=UTC)
OWNER_OF = Asker("nqr owner", OWNER, frozenset({"nqr"}))
HAND_OF = Asker("nqr hand", TECHNICIAN, frozenset({"nqr"}))
FLEET_OF = Asker("rqd", OPERATOR, None, frozenset({"rqd"}))
NOT_YOURS = "is not among your (shop|fleet)'s records"

TEST = {
    "session_id": "new",
    "sensor_id": "nqr-1-S",
    "tested_at": "2026-06-01T10:00:00+00:00",
    "odometer_km": 21000,
}
REPAIR = {
    "outcome_id": "new",
    "sensor_id": "nqr-1-S",
    "closed_on": "2026-06-01",
    "odometer_km": 21000,
    "action": "no_fault_found",
}
UNIT = {"unit_id": "new", "shop_id": "nqr", "model_code": "alder"}
SENSOR = {
    "sensor_id": "new",
    "unit_id": "nqr-1",
    "mount": "throttle",
    "part_no": "P1",
    "origin": "unknown",
}
COUNT = {"shop_id": "nqr", "part_no": "P1", "counted_on": "2026-06-01", "on_hand": 1}
PART = {"part_no": "P1", "description": "sensor", "unit_price": 1}
BEYOND = [
    ("shops", {"shop_id": "sqv", "name": "mine now"}),
    ("shops", {"shop_id": "new", "name": "mine"}),
    ("units", UNIT | {"unit_id": "sqv-1"}),
    ("units", UNIT | {"unit_id": "mqv"}),
    ("units", UNIT | {"unit_id": "sqv-9"}),
    ("units", UNIT | {"shop_id": "sqv"}),
    ("units", UNIT | {"unit_id": "nqr-1", "shop_id": "sqv"}),
    ("units", UNIT | {"fleet_id": "bqx"}),
    ("odometer", {"unit_id": "sqv-1", "read_on": "2026-06-01", "odometer_km": 1}),
    ("odometer", {"unit_id": "nobody's", "read_on": "2026-06-01", "odometer_km": 1}),
    ("parts", PART),
    ("sensors", SENSOR | {"unit_id": "sqv-1"}),
    ("sensors", SENSOR | {"sensor_id": "sqv-1-S"}),
    ("sensors", SENSOR | {"sensor_id": "sqv-9-S"}),
    ("test_sessions", TEST | {"sensor_id": "sqv-1-S"}),
    ("test_sessions", TEST | {"sensor_id": "of nobody yet"}),
    ("test_sessions", TEST | {"session_id": "sqv-1-T1"}),
    ("test_sessions", TEST | {"session_id": "sqv-1-T3"}),
    ("test_sessions", TEST | {"shop_id": "sqv"}),
    ("repair_outcomes", REPAIR | {"sensor_id": "sqv-1-S"}),
    ("repair_outcomes", REPAIR | {"outcome_id": "sqv-1-R1"}),
    ("repair_outcomes", REPAIR | {"session_id": "sqv-1-T1"}),
    ("repair_outcomes", REPAIR | {"comeback_of": "sqv-1-R1"}),
    ("stock", COUNT | {"shop_id": "sqv"}),
    ("calendar", {"unit_id": "sqv-1", "free_from": "2026-07-01", "free_to": "2026-07-02"}),
    ("retract", {"table": "test_sessions", "key": "sqv-1-T1", "reason": "r"}),
    ("retract", {"table": "odometer", "key": "sqv-1/2026-04-02", "reason": "r"}),
    ("retract", {"table": "stock", "key": "sqv/P1/2026-04-02", "reason": "r"}),
    ("retract", {"table": "odometer", "key": "odometer.csv:8", "reason": "r"}),
    ("retract", {"table": "parts", "key": "P1", "reason": "r"}),
]


@pytest.fixture
def copy(two_owners, tmp_path) -> Home:  # noqa: F811 - the fixture above
    shutil.copytree(two_owners.root, tmp_path / "copy")
    return Home(tmp_path / "copy")


@pytest.fixture(scope="module")
def shared(two_owners, tmp_path_factory) -> Home:  # noqa: F811 - the fixture above
    """One copy for what must leave it as it was."""
    folder = tmp_path_factory.mktemp("incoming") / "copy"
    shutil.copytree(two_owners.root, folder)
    return Home(folder)


def id_safe(row: dict) -> dict:
    return {name: str(cell).replace(" ", "-").replace("'", "") for name, cell in row.items()}


def key_of(table: str, row: dict) -> str:
    return "/".join(str(row[name]) for name in TABLES[table].key)


def test_no_such_row_is_within_reach(two_owners):  # noqa: F811 - the fixture above
    waiting = [Row(*row) for row in in_order(pending_files(two_owners)) if row.table != "sweeps"]
    with reading(two_owners, OWNER_OF) as (_, connection):
        for table, cells in BEYOND:
            row = Row(table, key_of(table, cells), {name: str(c) for name, c in cells.items()})
            reach = Reach(connection, OWNER_OF, [*waiting, row])
            for _, one in parents_first(waiting):
                reach.sees(one)
            assert reach.let_in(row) is not None, (table, cells)


@pytest.mark.long
@pytest.mark.parametrize(("table", "row"), BEYOND)
def test_a_row_that_reaches_beyond_is_refused(shared, table, row):
    before = last_hand_in(shared)
    texts = ("name", "description", "reason")
    row = {
        name: cell if name in texts else id_safe({name: cell})[name] for name, cell in row.items()
    }
    with pytest.raises(EntryError, match=f"{NOT_YOURS}|only who sees all") as refused:
        save_entry(shared, {table: [row]}, now=NOW, asker=OWNER_OF)
    assert refused.value.troubles[0].line == 1
    assert last_hand_in(shared) == before


def test_what_is_not_known_is_refused_in_the_words_of_what_is_anothers(shared):
    said = []
    for unit in ("sqv-1", "never-seen"):
        row = {"unit_id": unit, "read_on": "2026-06-01", "odometer_km": 1}
        with pytest.raises(EntryError) as refused:
            save_entry(shared, {"odometer": [row]}, now=NOW, asker=OWNER_OF)
        said.append(str(refused.value).replace(unit, "it"))
    assert said[0] == said[1]


def test_ones_own_rows_are_taken_new_ones_too(copy):
    rows = {
        "units": [UNIT | {"unit_id": "nqr-7"}],
        "sensors": [SENSOR | {"sensor_id": "nqr-7-S", "unit_id": "nqr-7"}],
        "test_sessions": [
            TEST | {"shop_id": "nqr"},
            TEST | {"session_id": "newer", "sensor_id": "nqr-7-S", "shop_id": "nqr"},
        ],
        "odometer": [{"unit_id": "nqr-9", "read_on": "2026-06-01", "odometer_km": 5}],
        "parts": [{"part_no": "P-new", "description": "another"}],
    }
    sweep = {"sweeps-new.csv": sweep_csv("new").encode()}
    save_entry(copy, rows, files=sweep, now=NOW, asker=HAND_OF)
    assert "new" in pending_rows(copy, OWNER_OF, "test_sessions")["test_sessions"]
    other = Asker("sqv owner", OWNER, frozenset({"sqv"}))
    assert "new" not in pending_rows(copy, other, "test_sessions")["test_sessions"]
    own = {"table": "test_sessions", "key": "new", "reason": "twice"}
    save_entry(copy, {"retract": [own]}, now=NOW, asker=HAND_OF)


def test_a_file_dropped_in_is_held_to_the_same(copy, tmp_path):
    mine = "unit_id,read_on,odometer_km\nnqr-1,2026-06-01,21000\n"
    folder = write_files(tmp_path / "in", {"odometer": mine + "sqv-1,2026-06-01,22000\n"})
    with pytest.raises(EntryError, match=NOT_YOURS) as refused:
        receive(copy, [folder], NOW, asker=HAND_OF)
    assert [(one.line, one.value) for one in refused.value.troubles] == [(3, "sqv-1")]
    sweeps = write_files(tmp_path / "sweeps", {"sweeps": sweep_csv("sqv-1-T1")})
    with pytest.raises(EntryError, match=NOT_YOURS):
        receive(copy, [sweeps], NOW, asker=HAND_OF)
    unread = write_files(tmp_path / "unread", {"letters.txt": "dear all"})
    with pytest.raises(EntryError, match="cannot be read as rows of a table"):
        receive(copy, [unread], NOW, asker=HAND_OF)
    own = write_files(tmp_path / "own", {"odometer": mine, "sweeps": sweep_csv("nqr-1-T1")})
    assert receive(copy, [own], NOW, asker=HAND_OF) == last_hand_in(copy)


def test_a_technician_answers_no_advice_and_counts_no_stock(shared):
    with pytest.raises(EntryError, match="not for your part"):
        save_answers(shared, [("nqr-1-S", "test")], Answer("accept"), now=NOW, asker=HAND_OF)
    with pytest.raises(EntryError, match="not for your part"):
        save_entry(shared, {"stock": [COUNT]}, now=NOW, asker=HAND_OF)
    with pytest.raises(EntryError, match=NOT_YOURS):
        save_answers(shared, [("sqv-1-S", "test")], Answer("accept"), now=NOW, asker=OWNER_OF)


@pytest.mark.long
def test_an_operator_says_when_own_bikes_are_free_and_leave_service_and_nothing_else(copy):
    days = datetime(2026, 8, 1).date(), datetime(2026, 8, 2).date()
    save_windows(copy, ["rqd-nqr", "rqd-sqv"], *days, now=NOW, asker=FLEET_OF)
    take_back_windows(copy, ["rqd-sqv/2026-08-01/2026-08-02"], "no", now=NOW, asker=FLEET_OF)
    unit = {
        "unit_id": "rqd-sqv",
        "shop_id": "sqv",
        "fleet_id": "rqd",
        "label": "RQD SQV",
        "model_code": "alder",
        "duty": "courier",
        "in_service_on": "2022-01-10",
    }
    take_out_of_service(copy, unit, NOW.date(), now=NOW, asker=FLEET_OF)
    with pytest.raises(EntryError, match="for the bike's shop to change"):
        save_entry(copy, {"units": [unit | {"label": "other"}]}, now=NOW, asker=FLEET_OF)
    with pytest.raises(EntryError, match=NOT_YOURS):
        save_windows(copy, ["bqx-sqv"], *days, now=NOW, asker=FLEET_OF)
    with pytest.raises(EntryError, match=NOT_YOURS):
        take_back_windows(copy, ["bqx-sqv/2026-06-04/2026-06-20"], "no", now=NOW, asker=FLEET_OF)
    row = {"unit_id": "rqd-nqr", "read_on": "2026-06-01", "odometer_km": 5}
    with pytest.raises(EntryError, match="not for your part"):
        save_entry(copy, {"odometer": [row]}, now=NOW, asker=FLEET_OF)


@pytest.mark.long
@tried(max_examples=12)
@given(
    unit=st.sampled_from(["nqr-1", "sqv-1", "rqd-nqr", "bqx-sqv", "mqv", "nqr-9", "sqv-9"]),
    shop=st.sampled_from(["nqr", "sqv"]),
)
def test_any_shop_takes_readings_of_its_own_bikes_alone(shared, unit, shop):
    asker = Asker("any", TECHNICIAN, frozenset({shop}))
    row = {"unit_id": unit, "read_on": "2026-05-29", "odometer_km": 30000}
    at = {"mqv": "sqv"}.get(unit, "sqv" if "sqv" in unit else "nqr")
    if at == shop:
        save_entry(shared, {"odometer": [row]}, now=NOW, asker=asker)
    else:
        with pytest.raises(EntryError, match=NOT_YOURS):
            save_entry(shared, {"odometer": [row]}, now=NOW, asker=asker)


@pytest.mark.parametrize("asker", [OWNER_OF, HAND_OF, FLEET_OF])
def test_settings_of_all_are_for_an_owner_who_sees_all(shared, asker):
    with pytest.raises(NotAllowedError, match="owner who sees all shops"):
        keep_settings(shared, {"test_hours": 2.0}, asker=asker)
    assert keep_settings(shared, {"test_hours": 0.6}, asker=HERE) == {}


def test_a_draft_is_its_makers(home):
    name = "0123456789abcdef"
    keep_draft(home, HAND_OF, name, "test:nqr-1", {"supply_v": 5.0})
    keep_sweep(home, HAND_OF, name, b"t_s,signal\n")
    assert draft(home, OWNER_OF, name) is None
    assert kept_sweep(home, OWNER_OF, name) is None
    assert drafts(home, OWNER_OF) == []
    for change in (
        lambda: keep_draft(home, OWNER_OF, name, "test:nqr-1", {}),
        lambda: keep_sweep(home, OWNER_OF, name, None),
        lambda: drop_draft(home, OWNER_OF, name),
    ):
        with pytest.raises((ValueError, PermissionError), match="somebody else's"):
            change()
    assert draft(home, HAND_OF, name).values == {"supply_v": 5.0}
    assert draft(home, HERE, name) is not None


def test_column_names_are_remembered_for_each_scope_apart(home):
    remember_column_names(home, "units", {"Bike": "unit_id"}, asker=HERE)
    assert read_column_names(home, OWNER_OF) == {}
    remember_column_names(home, "units", {"Rad": "unit_id"}, asker=OWNER_OF)
    assert read_column_names(home, HAND_OF) == {"units": {"Rad": "unit_id"}}
    assert read_column_names(home, HERE) == {"units": {"Bike": "unit_id"}}
