"""Build a warehouse from everything handed in, and publish it."""

from __future__ import annotations

import traceback
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, date, datetime
from functools import partial
from pathlib import Path

import duckdb
from threadpoolctl import threadpool_limits

from models.plans.settings import PlanSettings
from pipeline.home import Home
from pipeline.intake.contract import TABLES
from pipeline.intake.deeds import make_up_if_possible
from pipeline.intake.receive import HandedFile
from pipeline.intake.settings.settings_file import SettingsFile, read_settings, write_settings
from pipeline.intake.settle import read_all, settle
from pipeline.jobs.backtest import backtest_once
from pipeline.jobs.cancel import CancelledError
from pipeline.jobs.measure import measure_missing
from pipeline.jobs.progress import LongWork
from pipeline.jobs.whole_left import Stages, earlier_stages, keep_stages
from pipeline.jobs.workers import ONE, Workers
from pipeline.statements import ROOT, connect, held_open, run, statement
from pipeline.warehouse.advised import follow_advised, keep_advised
from pipeline.warehouse.carried import begin_with, can_carry, is_there, leave_to_stage
from pipeline.warehouse.check_plan import plan_checks, settings_for_checks
from pipeline.warehouse.damage import newest_as_published
from pipeline.warehouse.given_out import earlier_events, keep_events
from pipeline.warehouse.held_memory import give_back_freed
from pipeline.warehouse.leftovers import tidy
from pipeline.warehouse.lives import follow_lives, stage_bikes
from pipeline.warehouse.publish import (
    Manifest,
    draft_path,
    no_draft_left,
    publish,
    versions,
)
from pipeline.warehouse.risk import score_risk
from pipeline.warehouse.shops_apart import tell_shops_apart
from pipeline.warehouse.statics import judge_statics
from pipeline.warehouse.sweep_parts import SamplesGoneError, put_together
from pipeline.warehouse.sweeps_at_rest import settle_files
from pipeline.warehouse.wear import judge_sweeps, map_travel

_INDEXES = (
    "bikes_by_unit",
    "lives_by_unit",
    "readings_by_unit",
    "tests_by_unit",
    "worklist_by_unit",
    "tests_by_session",
    "reading_values_by_session",
)
#: What DuckDB holds at a time while it builds, bytes; beyond that it works on disk beside the
#: draft. Of 100,000 tests made anew, all up to the wear map took 2 % more time with this than with
#: 1 GB, and 8 % more with 400 MB.
HELD_BYTES = 600 << 20
_STAGED = [name for name in TABLES if name != "retract"]


def build(
    home: Home,
    *,
    as_of: date | None = None,
    progress: bool = False,
    say: Callable[[str], None] = lambda text: None,
    workers: Workers = ONE,
    carry: bool = True,
) -> Manifest:
    """Rebuild everything from the handed-in files and publish it as a new version.

    The caller holds the home (:meth:`Home.one_builder`). ``as_of`` is the day up to which
    odometers are carried forward: today, unless the home says otherwise. ``workers`` share the long
    work; what is built is the same, whoever they are, and whether or not rows of the version before
    may be carried over.
    """
    try:
        stages = Stages(earlier_stages(home))
        # what one stage has freed is not to stand beside what the next one takes
        work = LongWork(workers, say, progress, home.building_now, stages, give_back_freed)
        with no_draft_left(home):
            manifest = _build_relying_on_less(home, as_of, work, carry)
        keep_stages(home, work.stages)
        return manifest
    except CancelledError:
        tidy(home)
        raise


def _build_relying_on_less(home: Home, as_of: date | None, work: LongWork, carry: bool) -> Manifest:
    """Build, and begin again where samples are gone: each time one file less is relied on.

    So too, once, where DuckDB cannot do with the memory it is meant to: then it may take what the
    machine has.
    """
    held_bytes: int | None = HELD_BYTES
    while True:
        try:
            return _build(home, as_of, work, held_bytes, carry)
        except SamplesGoneError as error:
            work.say(f"{error}. Beginning again without them")
        except duckdb.OutOfMemoryException as error:
            if held_bytes is None:
                raise
            work.say(
                f"More memory is needed than is meant for it ({_asked_by(error)}). Beginning again "
                "with more"
            )
            held_bytes = None


def _asked_by(error: BaseException) -> str:
    """The statement that an error has been noted for, else the place in this package it is of."""
    if notes := getattr(error, "__notes__", []):
        return notes[0]
    frames = traceback.extract_tb(error.__traceback__)
    own = [frame for frame in frames if Path(frame.filename).is_relative_to(ROOT)]
    return f"{Path(own[-1].filename).name}, {own[-1].name}" if own else "DuckDB"


def _build(
    home: Home, as_of: date | None, work: LongWork, held_bytes: int | None, carry: bool
) -> Manifest:
    say = work.say
    day = as_of or home.as_of or datetime.now(UTC).date()
    tidy(home)
    before = newest_as_published(home, say)
    draft = draft_path(home)
    told = _settings(home)
    keep_advised(home)
    files = _read(home, draft, work, held_bytes)
    if carry and before is not None and can_carry(before, home, files):
        begin_with(before, draft)
    connection = _opened(draft, held_bytes)
    try:
        settle(connection, home, files)
        _stage(connection, day)
        each_part = partial(work.each, "Keeping sweeps by shop and month", "file")
        put_together(connection, home, files, say, each_part)
        measure_missing(connection, home, work)
        with threadpool_limits(1):
            judge_sweeps(connection, home.kept_models, say)
        follow_lives(connection)
        work.stage("Checking readings and learning good ranges")
        # many small sums: more threads would only wait for one another, and move the last digit
        with threadpool_limits(1):
            judge_statics(connection)
            work.stage("Mapping where wear gathers")
            map_travel(connection, day, home.kept_models, say)
            work.stage("Estimating risk")
            fit = score_risk(connection, day, home.kept_models, told, work)
            work.stage("Planning checks")
            chosen = settings_for_checks(told.settings)
            private = told.settings.private_not_known
            earlier = earlier_events(home)
            plan_checks(connection, day, earlier=earlier, private_not_known=private, **chosen)
            backtest_once(connection, day, home.kept_models, fit.version, work)
        tell_shops_apart(connection)
        problems = [*told.problems, *follow_advised(connection, home, day)]
        _note(connection, day, problems)
        _index(connection)
        connection.execute("checkpoint")
    finally:
        connection.close()
    built_at = datetime.now(UTC).isoformat(timespec="seconds")
    manifest = publish(
        home,
        draft,
        built_at=built_at,
        as_of=day.isoformat(),
        kind=home.kind or "own",
        hand_in=max((file.hand_in for file in files), default=0),
    )
    with held_open(manifest.path):
        keep_advised(home)
        keep_events(home)
        make_up_if_possible(home, versions(home))
        settle_files(home)
    return manifest


def _opened(draft: Path, held_bytes: int | None) -> duckdb.DuckDBPyConnection:
    connection = connect(draft)
    if held_bytes is not None:
        connection.execute(f"set memory_limit = '{held_bytes} bytes'")
    return connection


def _read(home: Home, draft: Path, work: LongWork, held_bytes: int | None) -> list[HandedFile]:
    """Read what is not read yet, working beside a draft that holds nothing; return all files."""
    connection = _opened(draft, held_bytes)
    try:
        each = partial(work.each, "Reading and checking what was handed in", "file")
        return read_all(connection, home, work.say, each)
    finally:
        connection.close()


def _stage(connection: duckdb.DuckDBPyConnection, day: date) -> None:
    """Typed tables of the rows that stand, but of those that are staged already."""
    connection.execute("create schema if not exists staging")
    connection.execute("create schema if not exists marts")
    for name in _STAGED:
        rows = statement(f"warehouse/sql/staging/{name}")
        if is_there(connection, "staging", name):
            leave_to_stage(connection, name)
            connection.execute(f"insert into staging.{name}\n{rows}")
        else:
            run(connection, "warehouse/sql/carried/all_to_stage")
            connection.execute(f"create table staging.{name} as\n{rows}")
    stage_bikes(connection, day)


def _settings(home: Home) -> SettingsFile:
    """The owner's settings; the file is laid out with the assumed ones where there is none."""
    if not home.settings.exists():
        write_settings(home, PlanSettings())
    return read_settings(home)


def _note(connection: duckdb.DuckDBPyConnection, day: date, problems: Iterable[str]) -> None:
    """Collect what is odd in the records though no rule of the contract forbids it.

    ``problems`` of the settings and of what was advised come first.
    """
    connection.execute(
        "create table marts.notices (notice_no integer, kind varchar, notice varchar)"
    )
    told = [("home", problem) for problem in problems]
    for number, (kind, notice) in enumerate([*told, *notices_of_records(connection, day)], 1):
        connection.execute("insert into marts.notices values (?, ?, ?)", [number, kind, notice])


def _index(connection: duckdb.DuckDBPyConnection) -> None:
    """Indexes for pages of one bike or one test, which would look through all rows otherwise."""
    for name in _INDEXES:
        run(connection, f"warehouse/sql/indexes/{name}")


def notices_of_records(
    connection: duckdb.DuckDBPyConnection, day: date
) -> Iterator[tuple[str, str]]:
    """Kind and sentence of each oddity in the records that the connection shows."""
    for path in sorted((ROOT / "warehouse/sql/notices").glob("*.sql")):
        name = f"warehouse/sql/notices/{path.stem}"
        parameters = {"as_of": day} if "$as_of" in statement(name) else None
        for (notice,) in run(connection, name, parameters).fetchall():
            yield path.stem, notice
