"""Nobody is given anything of another's: every view, by every way to ask for it."""

from __future__ import annotations

import ast
import dataclasses
import inspect
import json
import pkgutil
import re
import shutil
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import settings as tried
from hypothesis import strategies as st

import pipeline.access
from pipeline.access import (
    bench_view,
    check_plan_view,
    fleet_view,
    hand_ins,
    records_view,
    register_view,
    repairs_view,
    set_aside_rows,
    stock_book,
    stock_view,
    sweep_traces,
    tags_view,
    views,
    wear_view,
    what_if,
)
from pipeline.access.answers import pending_answer_count, with_pending_answers
from pipeline.access.deeds_view import deeds_view
from pipeline.access.entered import pending_sweep, pending_test, standing
from pipeline.access.reading import NotThereError, reading
from pipeline.access.scope import allowed
from pipeline.access.scope.scope_rules import RULES
from pipeline.access.settings_view import settings_view
from pipeline.access.transfers_view import transfers_view
from pipeline.access.worklist_view import (
    WorklistAsked,
    worklist_found,
    worklist_leaf,
    worklist_offered,
    worklist_set_aside,
    worklist_view,
)
from pipeline.asker import OPERATOR, OWNER, ROLES, TECHNICIAN, Asker
from pipeline.home import Home
from pipeline.intake.contract import TABLES
from pipeline.intake.settings.settings_edit import keep_settings
from pipeline.warehouse.publish import newest
from tests.askers import HERE
from tests.pipeline.two_owners import SESSIONS, UNITS, fill

#: What each may be given nothing of: marks in identifiers, names and notes.
ASKERS = {
    "owner of nqr": (Asker("nqr owner", OWNER, frozenset({"nqr"})), r"sqv|bqx"),
    "owner of sqv": (Asker("sqv owner", OWNER, frozenset({"sqv"})), r"nqr"),
    "technician of nqr": (Asker("nqr hand", TECHNICIAN, frozenset({"nqr"})), r"sqv|bqx"),
    "operator of rqd": (Asker("rqd", OPERATOR, None, frozenset({"rqd"})), r"nqr-\d|sqv-\d|bqx|mqv"),
    "operator of bqx": (Asker("bqx", OPERATOR, None, frozenset({"bqx"})), r"nqr|rqd|sqv-\d|mqv"),
    "owner of no shop": (Asker("no", OWNER, frozenset()), r"nqr|sqv|rqd|bqx|mqv"),
    "operator of none":
    (Asker("no", OPERATOR, None, frozenset()), r"nqr|sqv|rqd|bqx|mqv"),
}  # fmt: skip
#: The other walks are left to the long run.
SHORT = ("owner of nqr", "operator of rqd")
ROWS = [name for name in TABLES if not TABLES[name].bulk]


@pytest.fixture(scope="session")
def two_owners(built_once) -> Home:
    return built_once("two_owners", fill)


def said(value: object) -> Iterator[str]:
    """Every text in a result, however deep."""
    if isinstance(value, bytes):
        yield value.decode("utf-8", errors="replace")
    elif isinstance(value, (pd.DataFrame, pd.Series)):
        yield value.to_csv()
    elif isinstance(value, dict):
        yield from said([*value, *value.values()])
    elif isinstance(value, (list, tuple, set, frozenset)):
        for item in value:
            yield from said(item)
    elif dataclasses.is_dataclass(value):
        # the folder's path is the home's alone
        inside = (f.name for f in dataclasses.fields(value) if f.name != "home")
        yield from said([getattr(value, name) for name in inside])
    else:
        yield str(value)


def leaked(value: object, marks: str, *asked: object) -> list[str]:
    """Texts with a mark, apart from what was asked for by name."""
    found = []
    for text in said(value):
        for name in map(str, asked):
            text = text.replace(name, "")
        if re.search(marks, text):
            found.append(text[:2000])
    return found


def asked_of(home: Home) -> Iterator[tuple]:
    """Every view with every argument that may be tried, of this home."""
    yield from ((view,) for view in (
        worklist_view, views.trust_view, wear_view.wear_view, what_if.what_if_base,
        stock_view.stock_view, stock_book.stock_book, repairs_view.repairs_view,
        records_view.records_view, records_view.bike_count, set_aside_rows.set_aside_rows,
        set_aside_rows.set_aside_in_files, fleet_view.fleet_view, check_plan_view.check_plan_view,
        register_view.register_view, tags_view.tags_view, settings_view, hand_ins.latest_hand_ins,
        pending_answer_count, deeds_view, transfers_view, worklist_set_aside,
    ))  # fmt: skip
    for unit in (*UNITS, "nqr-9", "sqv-9"):
        yield views.bike_view, unit
        yield bench_view.bench_view, unit
        yield register_view.register_view, unit
        yield register_view.job_view, unit
        yield wear_view.wear_view, "all", "all", f"{unit}-S"
    for session in SESSIONS:
        yield views.session_view, session
        yield sweep_traces.sweep_window, session, 0.0, 9.0
        yield sweep_traces.sweep_over_travel, session
    for session in SESSIONS[-3:]:
        yield pending_test.pending_session_view, session
        yield pending_sweep.pending_samples, session
        yield pending_sweep.pending_sweep_window, session, 0.0, 9.0
    for shop in ("nqr", "sqv"):
        yield stock_view.stock_view, shop, "P1"
    for text in ("a", "1", "sq", "nq"):
        yield bench_view.find_bikes, text
    for number in range(1, 7):
        yield hand_ins.became_of, number
    everything = everything_by_table(home)
    for table in ROWS:
        yield standing.standing_rows, table, everything[table]
    for asked in (
        WorklistAsked(),
        WorklistAsked(shops=("nqr", "sqv"), ordered_by="label"),
        WorklistAsked(words=("1",), answers=("none", "accept")),
    ):
        yield worklist_leaf, asked, 1
        yield worklist_offered, asked
        yield worklist_found, asked
    yield with_pending_answers, worklist_found(home, HERE, WorklistAsked()).iloc[:0]
    for session in SESSIONS[:4]:
        yield sweep_traces.overlay_tests, views.session_view(home, HERE, session).session
        yield pending_sweep.pending_over_travel, views.session_view(home, HERE, session)


def everything_by_table(home: Home) -> dict[str, list[str]]:
    with reading(home, HERE) as (_, connection):
        keys = {}
        for table in ROWS:
            found = connection.execute(
                "select row_key from intake.standing where table_name = ?", [table]
            ).fetchall()
            keys[table] = [key for (key,) in found]
        return keys


def given_or_refused(view, home: Home, asker: Asker, of: tuple) -> object:
    try:
        return view(home, asker, *of)
    except (NotThereError, allowed.NotAllowedError) as error:
        return str(error)


@pytest.mark.parametrize(
    "who", [pytest.param(w, marks=[] if w in SHORT else pytest.mark.long) for w in ASKERS]
)
def test_no_view_gives_anything_of_anothers(two_owners, who):
    asker, marks = ASKERS[who]
    for view, *of in asked_of(two_owners):
        names = [item for item in of if isinstance(item, str)]
        names += [item.session["session_id"] for item in of if isinstance(item, views.SessionView)]
        names += [key for item in of if isinstance(item, list) for key in item]
        found = given_or_refused(view, two_owners, asker, tuple(of))
        if isinstance(found, str):
            assert not leaked(found, marks, *names), (view.__name__, of)
        else:
            assert not leaked(found, marks), (view.__name__, of)


def test_each_is_given_their_own(two_owners):
    north, _ = ASKERS["owner of nqr"]
    rqd, _ = ASKERS["operator of rqd"]
    assert set(worklist_found(two_owners, north, WorklistAsked())["unit_id"]) == {
        "nqr-1",
        "rqd-nqr",
    }
    assert views.bike_view(two_owners, north, "nqr-1").tests["session_id"].tolist() == [
        "nqr-1-T1",
        "nqr-1-T2",
    ]
    assert set(fleet_view.fleet_view(two_owners, rqd).bikes["unit_id"]) == {"rqd-nqr", "rqd-sqv"}
    windows = fleet_view.fleet_view(two_owners, rqd).windows
    assert sorted(windows["state"]) == ["planned", "planned", "typed", "typed"]
    assert not views.session_view(two_owners, rqd, "rqd-sqv-T1").trace.empty
    assert pending_test.pending_session_view(two_owners, north, "nqr-1-T3") is not None
    assert len(stock_book.stock_book(two_owners, north).rows) == 1
    assert bench_view.bench_view(two_owners, north, "nqr-9").unit["label"] == "nqr nine"
    assert transfers_view(two_owners, north)["other"].tolist() == ["elsewhere", "third"]


def test_a_bike_that_changed_hands_leaves_its_tests_with_each_shop(two_owners):
    north, _ = ASKERS["owner of nqr"]
    south, _ = ASKERS["owner of sqv"]
    assert views.session_view(two_owners, north, "nqr-mqv-T1").session["verdict"] == "pass"
    with pytest.raises(NotThereError):
        views.session_view(two_owners, north, "sqv-mqv-T2")
    with pytest.raises(NotThereError):
        views.bike_view(two_owners, north, "mqv")
    moved = views.bike_view(two_owners, south, "mqv")
    assert moved.tests["session_id"].tolist() == ["sqv-mqv-T2"]
    assert moved.odometer["read_on"].min() >= pd.Timestamp("2026-05-20")
    with pytest.raises(NotThereError):
        views.session_view(two_owners, south, "nqr-mqv-T1")


def test_an_operator_is_told_no_costs(two_owners):
    asker, _ = ASKERS["operator of rqd"]
    whole = check_plan_view.check_plan_view(two_owners, HERE)
    assert re.search(
        r"costs? (less than )?\d", " ".join([*whole.visits["why"], *whole.unplaced["words"]])
    )
    view = check_plan_view.check_plan_view(two_owners, asker)
    assert set(view.visits["unit_id"]) | set(view.unplaced["unit_id"]) == {"rqd-nqr", "rqd-sqv"}
    assert view.visits["saves"].isna().all()
    assert view.visits["waiting_costs"].isna().all()
    assert view.unplaced["waiting_costs"].isna().all()
    assert view.about.empty
    told = " ".join(said([view.visits, view.unplaced, view.events]))
    told += check_plan_view.check_calendar(view.events).decode()
    assert not re.search(r"costs? (less than )?\d", told)


def pooled_of(home: Home, asker: Asker) -> tuple[int, int]:
    with reading(home, asker) as (_, connection):
        bands = connection.execute("select count(*) from marts.bands").fetchone()[0]
        judged = connection.execute(
            "select count(*) from marts.check_bands where method like 'learned from %' "
            "and coalesce(low, high) is not null"
        ).fetchone()[0]
    return bands, judged


def test_what_all_say_together_is_shown_once_enough_stand_behind_it(two_owners, tmp_path):
    asker, _ = ASKERS["owner of nqr"]
    assert pooled_of(two_owners, asker) == (0, 0)
    assert pooled_of(two_owners, HERE)[0] > 0
    both = Asker("both", OWNER, frozenset({"nqr", "sqv"}))
    assert pooled_of(two_owners, both) == pooled_of(two_owners, HERE)
    shutil.copytree(two_owners.root, tmp_path / "copy")
    copy = Home(tmp_path / "copy")
    one_owner = {"pooled_least_shops": 2, "pooled_least_sensors": 1}
    assert keep_settings(copy, one_owner, asker=HERE) == {}
    assert pooled_of(copy, asker) == pooled_of(two_owners, HERE)
    assert views.trust_view(copy, asker).about == views.trust_view(two_owners, HERE).about
    assert wear_view.wear_view(two_owners, asker).about["reason"].startswith("too few shops")
    sensors = {"pooled_least_sensors": 30}
    keep_settings(copy, sensors, asker=HERE)
    assert pooled_of(copy, asker) == (0, 0)


def test_a_test_is_not_judged_by_a_range_that_its_reader_may_not_see(two_owners):
    asker, _ = ASKERS["owner of nqr"]
    judged = 0
    for session_id in sorted(SESSIONS):
        try:
            own = views.session_view(two_owners, asker, session_id).checks
        except NotThereError:
            continue
        whole = views.session_view(two_owners, HERE, session_id).checks
        assert own["check"].tolist() == whole["check"].tolist()
        learned = whole["band_source"].str.contains("good sensor").fillna(False)
        hidden = own[learned]
        assert hidden[["low", "high"]].isna().all(axis=None)
        assert set(hidden["state"]) <= {"no_band", "not_read"}
        told = hidden.loc[hidden["state"].eq("no_band"), "text"]
        assert told.str.contains("not shown: too few shops stand behind this range").all()
        judged += len(told)
    assert judged > 0


def test_who_sees_all_sees_all(two_owners):
    everyone = worklist_found(two_owners, HERE, WorklistAsked())["unit_id"]
    assert set(everyone) == set(UNITS)


def test_every_table_of_a_build_has_a_rule(two_owners):
    with reading(two_owners, HERE) as (_, connection):
        tables = connection.execute(
            "select table_schema || '.' || table_name from information_schema.tables"
        ).fetchall()
    without = sorted(table for (table,) in tables if table not in RULES)
    assert not without, "declare in pipeline/access/scope/scope_rules.py whose rows these are"
    assert not sorted(set(RULES) - {table for (table,) in tables}), "rules of no table"


def test_no_table_shows_anything_of_anothers(two_owners):
    asker, marks = ASKERS["owner of nqr"]
    with reading(two_owners, asker) as (_, connection):
        for table in RULES:
            frame = connection.execute(f"from {table}").df()
            assert not leaked(frame, marks), table


def test_a_table_without_a_rule_is_withheld(two_owners, monkeypatch, tmp_path):
    monkeypatch.delitem(RULES, "marts.tests")
    asker = Asker("someone else", OWNER, frozenset({"nqr", "a shop of this test"}))
    assert worklist_view(two_owners, asker).summary["tests"] == 0


@pytest.mark.long
@tried(max_examples=6)
@given(shops=st.sets(st.sampled_from(["nqr", "sqv", "elsewhere"])), role=st.sampled_from(ROLES[:2]))
def test_any_scope_of_shops_shows_its_own_alone(two_owners, shops, role):
    asker = Asker("any", role, frozenset(shops))
    rows = worklist_found(two_owners, asker, WorklistAsked())
    assert set(rows["shop_id"]) == shops & {"nqr", "sqv"}
    for session in SESSIONS[:4]:
        seen = not isinstance(
            given_or_refused(views.session_view, two_owners, asker, (session,)), str
        )
        assert seen == (session[:3] in shops)


def test_nothing_on_the_disk_but_sweeps_can_be_read_in_scope(two_owners):
    asker, _ = ASKERS["owner of nqr"]
    with reading(two_owners, asker) as (_, connection):
        for file in (two_owners.settings, two_owners.set_aside, Path("/etc/passwd")):
            with pytest.raises(Exception, match="Permission Error"):
                connection.execute("from read_text(?)", [str(file)])
        with pytest.raises(Exception, match="locked"):
            connection.execute("set enable_external_access = true")


def test_no_statement_names_the_whole_warehouse_but_those_that_find_a_scope():
    folder = Path(pipeline.__file__).parent
    named = re.compile(r"(from|join) whole\b|\bwhole\.(marts|intake|staging)")
    for path in folder.rglob("*.sql"):
        if path.parent.name != "scope":
            assert not named.search(path.read_text(encoding="utf-8")), path
    for path in folder.rglob("*.py"):
        if path.name not in ("scope_rules.py", "scoped.py"):
            assert not named.search(path.read_text(encoding="utf-8")), path


def test_every_function_of_the_access_that_takes_a_home_takes_who_asks():
    bare = {"current_version", "edition_of", "account", "thinned_trace", "pending_files"}
    for info in pkgutil.iter_modules(pipeline.access.__path__):
        module = import_module(f"pipeline.access.{info.name}")
        for name, function in inspect.getmembers(module, inspect.isfunction):
            if function.__module__ != module.__name__ or name.startswith("_") or name in bare:
                continue
            takes = inspect.signature(function).parameters
            if "home" in takes:
                assert takes.get("asker") is not None, f"{info.name}.{name}"
                assert takes["asker"].default is inspect.Parameter.empty, f"{info.name}.{name}"


def test_every_view_is_declared_and_refuses_other_roles(two_owners):
    for view, *of in asked_of(two_owners):
        assert view.__name__ in allowed.VIEWS
        for role in ROLES:
            asker = Asker("any", role, frozenset(), frozenset())
            if role not in allowed.VIEWS[view.__name__]:
                with pytest.raises(allowed.NotAllowedError, match="is for"):
                    view(two_owners, asker, *of)


def test_a_view_that_is_not_declared_cannot_be_made():
    with pytest.raises(LookupError, match="declared for no role"):

        @allowed.view
        def a_new_view(home, asker):
            return None


def test_every_contract_table_says_who_may_enter_it():
    assert set(allowed.ENTRIES) == set(TABLES)


def test_the_manifest_is_the_same_for_all(two_owners):
    asker, _ = ASKERS["owner of nqr"]
    edition = worklist_view(two_owners, asker).edition
    found = newest(two_owners)
    assert found is not None
    assert edition.version == found.version
    assert json.dumps(edition.built_at)


def test_every_save_of_a_page_says_who_saves():
    savers = re.compile(
        r"save_\w+|take_back_windows|take_out_of_service|bring_back|close_job|correct|receive"
        r"|keep_settings|keep_consent|remember_column_names|forget_column_names|check_files"
    )
    ours = {"save_csv"}
    folder = Path(pipeline.__file__).parent.parent / "dashboard"
    found = 0
    for path in folder.rglob("*.py"):
        if path.parent.name == "network":
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name)):
                continue
            if savers.fullmatch(node.func.id) and node.func.id not in ours:
                found += 1
                assert "asker" in {word.arg for word in node.keywords}, (path, node.lineno)
    assert found > 15
